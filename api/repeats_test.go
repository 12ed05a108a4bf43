package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// TestIdempotencyKeysOfCallers: an Idempotency-Key is a caller's own, for one method
// and route: what another key of the dealer used blocks nobody, and neither does the same
// text on another route.
func TestIdempotencyKeysOfCallers(t *testing.T) {
	b := newBench(t)
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	office := memberText(t, b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"dealer","name":"office"}`).body, "key")
	kept := b.keepSmall(key)
	quote := fmt.Sprintf(`{"lines":[{"configuration_id":%q}]}`, kept)
	if a := b.send(http.MethodPost, "/v1/quotes", office, `{"lines":[{"configuration":`+small+`}]}`, "Idempotency-Key", "PO-4711"); a.status != http.StatusCreated {
		t.Fatalf("the office's quote: %d %s", a.status, a.body)
	}
	made := b.send(http.MethodPost, "/v1/quotes", key, quote, "Idempotency-Key", "PO-4711")
	if made.status != http.StatusCreated {
		t.Fatalf("the dealer's quote after the office's with the same key: %d %s", made.status, made.body)
	}
	order := fmt.Sprintf(`{"quote_id":%q}`, memberText(t, made.body, "id"))
	placed := b.send(http.MethodPost, "/v1/orders", key, order, "Idempotency-Key", "PO-4711")
	if placed.status != http.StatusCreated {
		t.Fatalf("the dealer's order after its quote with the same key: %d %s", placed.status, placed.body)
	}
	if again := b.send(http.MethodPost, "/v1/orders", key, order, "Idempotency-Key", "PO-4711"); again.status != http.StatusCreated || string(again.body) != string(placed.body) {
		t.Errorf("the order sent again: %d %s", again.status, again.body)
	}
	if other := b.send(http.MethodPost, "/v1/orders", office, order, "Idempotency-Key", "PO-4711"); other.status != http.StatusConflict {
		t.Errorf("another key of the dealer, whose request it is not: %d %s, want a conflict over the quote that is ordered", other.status, other.body)
	}
	b.send(http.MethodPost, "/v1/quotes", key, `{"reference":"another","lines":[{"configuration":`+small+`}]}`, "Idempotency-Key", "PO-4711").wants(t, 422, "idempotency-key-reused")
}

// TestSecretsOfRepeats: an answer that shows a secret is given again byte for byte to the
// key that asked, and to no other: a successor of it gets the answer without the secret
// and why, another key of the shop's makes a thing of its own.
func TestSecretsOfRepeats(t *testing.T) {
	b := newBench(t)
	dealer, _ := b.dealer("Brackwater Marine", record.RoleDealer)
	made := b.send(http.MethodPost, "/v1/keys", b.shop, `{"role":"shop","name":"office"}`)
	office, officeID := memberText(t, made.body, "key"), memberText(t, made.body, "id")
	target := memberText(t, b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, `{"role":"dealer","name":"target"}`).body, "id")
	hook := memberText(t, b.send(http.MethodPost, "/v1/webhooks", b.shop, `{"url":"https://brackwater.example/hook"}`).body, "id")
	routes := []struct{ name, path, body, secret string }{
		{"a dealer's key", "/v1/dealers/" + dealer + "/keys", `{"role":"dealer","name":"office"}`, "key"},
		{"a shop key", "/v1/keys", `{"role":"storefront","name":"window"}`, "key"},
		{"a rotation", "/v1/keys/" + target + "/rotation", `{}`, "key"},
		{"a webhook", "/v1/webhooks", `{"url":"https://fennimore.example/hook"}`, "secret"},
		{"a webhook's secret", "/v1/webhooks/" + hook + "/secret", ``, "secret"},
	}
	first := map[string]answer{}
	for _, r := range routes {
		first[r.name] = b.send(http.MethodPost, r.path, office, r.body, "Idempotency-Key", "k")
		if first[r.name].status != http.StatusCreated {
			t.Fatalf("%s: %d %s", r.name, first[r.name].status, first[r.name].body)
		}
	}
	successor := memberText(t, b.send(http.MethodPost, "/v1/keys/"+officeID+"/rotation", b.shop, `{}`).body, "key")
	for _, r := range routes {
		t.Run(r.name, func(t *testing.T) {
			want := first[r.name]
			if again := b.send(http.MethodPost, r.path, office, r.body, "Idempotency-Key", "k"); again.status != want.status || string(again.body) != string(want.body) {
				t.Errorf("the same key: %d %s, want %d %s", again.status, again.body, want.status, want.body)
			}
			bare := b.send(http.MethodPost, r.path, successor, r.body, "Idempotency-Key", "k")
			if bare.status != http.StatusOK || memberText(t, bare.body, "withheld") != "sealed_for_another_key" || memberText(t, bare.body, "id") != memberText(t, want.body, "id") {
				t.Errorf("the successor: %d %s", bare.status, bare.body)
			}
			if s := memberText(t, want.body, r.secret); strings.Contains(string(bare.body), s) {
				t.Errorf("the successor gets the secret: %s", bare.body)
			}
			if r.name == "a rotation" {
				return // another one is a conflict
			}
			own := b.send(http.MethodPost, r.path, b.shop, r.body, "Idempotency-Key", "k")
			if own.status != http.StatusCreated || memberText(t, own.body, r.secret) == memberText(t, want.body, r.secret) {
				t.Errorf("another key of the shop's: %d %s", own.status, own.body)
			}
		})
	}
	// A dealer's own webhook.
	id, key := b.dealer("Fennimore Yachts", record.RoleDealer)
	list := b.send(http.MethodGet, "/v1/keys?dealer_id="+id, b.shop, "")
	var keys client.KeyList
	strict(t, list.body, &keys)
	next := memberText(t, b.send(http.MethodPost, "/v1/keys/"+keys.Items[0].Id.String()+"/rotation", b.shop, `{}`).body, "key")
	const body = `{"url":"https://fennimore.example/hook"}`
	shown := b.send(http.MethodPost, "/v1/webhooks", key, body, "Idempotency-Key", "k")
	if again := b.send(http.MethodPost, "/v1/webhooks", key, body, "Idempotency-Key", "k"); shown.status != http.StatusCreated || again.status != shown.status || string(again.body) != string(shown.body) {
		t.Errorf("a dealer's webhook: %d %s, again %d %s", shown.status, shown.body, again.status, again.body)
	}
	if bare := b.send(http.MethodPost, "/v1/webhooks", next, body, "Idempotency-Key", "k"); bare.status != http.StatusOK || memberText(t, bare.body, "withheld") != "sealed_for_another_key" || memberText(t, bare.body, "id") != memberText(t, shown.body, "id") {
		t.Errorf("the successor of a dealer's key: %d %s", bare.status, bare.body)
	}
}
