package api

import (
	"fmt"
	"net"
	"net/http"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"hatchwright/openapi/client"
	"hatchwright/service"
	"hatchwright/service/record"
	"hatchwright/store"
)

// streamEnd is how long a stream may outlive its key: a second, and as much again and more
// for a machine that is busy. A sign of life comes after fifteen.
const streamEnd = 3 * time.Second

// ends tells how long a stream goes on.
func (s *sse) ends(t *testing.T, what string, since time.Time) {
	t.Helper()
	late := time.After(time.Until(since.Add(streamEnd)))
	for {
		select {
		case _, open := <-s.events:
			if open {
				continue
			}
			t.Logf("%s: the stream ended after %v", what, time.Since(since).Round(time.Millisecond))
			return
		case <-late:
			t.Errorf("%s: the stream goes on after %v", what, streamEnd)
			return
		}
	}
}

// TestStreamEndsWithKey: whatever ends a key ends its streams, and no other ones.
func TestStreamEndsWithKey(t *testing.T) {
	if keyLook+farewell >= time.Second {
		t.Errorf("a key is looked at every %v, and a reader has %v more: together under a second", keyLook, farewell)
	}
	b := newBench(t)
	dealer, other := b.dealer("Brackwater Marine", record.RoleDealer)
	issue := func(body string) client.IssuedKey {
		t.Helper()
		a := b.send(http.MethodPost, "/v1/dealers/"+dealer+"/keys", b.shop, body)
		var k client.IssuedKey
		strict(t, a.body, &k)
		return k
	}
	rotate := func(id, body string) client.IssuedKey {
		t.Helper()
		a := b.send(http.MethodPost, "/v1/keys/"+id+"/rotation", b.shop, body)
		if a.status != http.StatusCreated {
			t.Fatalf("%d %s", a.status, a.body)
		}
		var k client.IssuedKey
		strict(t, a.body, &k)
		return k
	}
	bystander := b.stream(other, "")

	k := issue(`{"role":"dealer","name":"one"}`)
	s := b.stream(k.Key, "")
	since := time.Now()
	b.send(http.MethodDelete, "/v1/keys/"+k.Id.String(), b.shop, "")
	s.ends(t, "revoked", since)

	// By another process on the same store, which this one hears nothing of.
	k = issue(`{"role":"dealer","name":"two"}`)
	s = b.stream(k.Key, "")
	elsewhere, err := service.New(service.Options{Store: b.store, Wire: Wire{}, Clock: b.clock.Now})
	if err != nil {
		t.Fatal(err)
	}
	since = time.Now()
	if err := elsewhere.RevokeKey(t.Context(), service.Caller{Role: record.RoleShop}, k.Id); err != nil {
		t.Fatal(err)
	}
	s.ends(t, "revoked by another process", since)

	// By a rotation without an overlap: the key, and the one before it, whose overlap
	// goes on.
	first := issue(`{"role":"dealer","name":"three"}`)
	second := rotate(first.Id.String(), `{"overlap_hours":24}`)
	s1, s2 := b.stream(first.Key, ""), b.stream(second.Key, "")
	since = time.Now()
	third := rotate(second.Id.String(), `{"overlap_hours":0}`)
	s1.ends(t, "the key before the rotated one", since)
	s2.ends(t, "the rotated key", since)
	if a := b.send(http.MethodPost, "/v1/check", first.Key, small); a.status != http.StatusUnauthorized {
		t.Errorf("the key before the rotated one still opens: %d", a.status)
	}
	if a := b.send(http.MethodPost, "/v1/check", third.Key, small); a.status != http.StatusOK {
		t.Errorf("the new key: %d %s", a.status, a.body)
	}
	ended := map[string]bool{}
	l := b.send(http.MethodGet, "/v1/audit?action=key.rotated", b.shop, "")
	var audit client.AuditList
	strict(t, l.body, &audit)
	for _, e := range audit.Items {
		for _, c := range e.Changes {
			if c.Field == "expires_at" && c.After != nil {
				ended[e.Thing.Id] = true
			}
		}
	}
	if !ended[first.Id.String()] || !ended[second.Id.String()] {
		t.Errorf("the audit list does not say that both ended: %s", l.body)
	}

	// By its time.
	k = issue(fmt.Sprintf(`{"role":"dealer","name":"four","expires_at":%q}`, b.clock.Now().Add(time.Hour).Format(time.RFC3339)))
	s = b.stream(k.Key, "")
	since = time.Now()
	b.clock.Add(time.Hour)
	s.ends(t, "expired", since)

	select {
	case e, open := <-bystander.events:
		if !open {
			t.Error("a stream of another key ended too")
		}
		_ = e
	default:
	}
}

// A reader that takes nothing does not keep a stream of a revoked key open for as long
// as one writing may wait.
func TestStreamOfStalledReaderEndsWithKey(t *testing.T) {
	b := newBench(t)
	b.api.heartbeat = time.Millisecond // something is written all the time
	dealer, key := b.dealer("Brackwater Marine", record.RoleDealer)
	var keys client.KeyList
	strict(t, b.send(http.MethodGet, "/v1/keys?dealer_id="+dealer, b.shop, "").body, &keys)
	ended := make(chan struct{})
	server := b.api.Server("")
	server.Handler = http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { b.api.ServeHTTP(w, r); close(ended) })
	near, far := net.Pipe()
	l := make(one, 1)
	l <- far
	served := make(chan error, 1)
	go func() { served <- server.Serve(l) }()
	if _, err := fmt.Fprintf(near, "GET /v1/events HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer %s\r\n\r\n", key); err != nil {
		t.Fatal(err)
	}
	first := make([]byte, 12)
	if _, err := near.Read(first); err != nil || string(first) != "HTTP/1.1 200" {
		t.Fatalf("%q %v", first, err)
	}
	since := time.Now()
	b.send(http.MethodDelete, "/v1/keys/"+keys.Items[0].Id.String(), b.shop, "")
	select {
	case <-ended:
		t.Logf("the stream ended after %v", time.Since(since).Round(time.Millisecond))
	case <-time.After(streamEnd):
		t.Errorf("the stream goes on after %v", streamEnd)
	}
	near.Close()
	<-ended
	server.Close()
	<-served
}

// TestLastShopKey: the shop is never left without a key that opens for good.
func TestLastShopKey(t *testing.T) {
	b := newBench(t)
	shopKeys := func() (list []client.Key) {
		t.Helper()
		var l client.KeyList
		strict(t, b.send(http.MethodGet, "/v1/keys?role=shop", b.shop, "").body, &l)
		return l.Items
	}
	first := shopKeys()[0].Id.String()
	made := func(body string) client.IssuedKey {
		t.Helper()
		a := b.send(http.MethodPost, "/v1/keys", b.shop, body)
		if a.status != http.StatusCreated {
			t.Fatalf("%d %s", a.status, a.body)
		}
		var k client.IssuedKey
		strict(t, a.body, &k)
		return k
	}
	soon := b.clock.Now().Add(time.Hour).Format(time.RFC3339)
	refused := func(name, method, path, body string) {
		t.Helper()
		t.Run(name, func(t *testing.T) {
			a := b.send(method, path, b.shop, body)
			p := a.problem(t)
			if a.status != http.StatusConflict || p.Type != "/problems/last-shop-key" {
				t.Errorf("%d %s, want 409 last-shop-key", a.status, a.body)
			}
			if !strings.Contains(p.Detail, "Make another one first") || !strings.Contains(p.Detail, "key new") {
				t.Errorf("the answer does not say what to do: %s", p.Detail)
			}
			if a := b.send(http.MethodGet, "/v1/keys", b.shop, ""); a.status != http.StatusOK {
				t.Errorf("the key no longer opens: %d", a.status)
			}
		})
	}
	refused("revoked", http.MethodDelete, "/v1/keys/"+first, "")
	refused("rotated without an overlap", http.MethodPost, "/v1/keys/"+first+"/rotation", `{"overlap_hours":0}`)
	refused("rotated into one that ends", http.MethodPost, "/v1/keys/"+first+"/rotation", `{"expires_at":"`+soon+`"}`)
	made(`{"role":"storefront","name":"window"}`)
	made(`{"role":"shop","name":"for an hour","expires_at":"` + soon + `"}`)
	refused("revoked beside one that ends", http.MethodDelete, "/v1/keys/"+first, "")

	t.Run("the successor of an overlap", func(t *testing.T) {
		a := b.send(http.MethodPost, "/v1/keys/"+first+"/rotation", b.shop, `{"overlap_hours":24}`)
		if a.status != http.StatusCreated {
			t.Fatalf("a rotation with an overlap: %d %s", a.status, a.body)
		}
		first = memberText(t, a.body, "id") // the older one ends by itself now
	})
	refused("revoked beside the one before it", http.MethodDelete, "/v1/keys/"+first, "")
	refused("rotated without an overlap beside the one before it", http.MethodPost, "/v1/keys/"+first+"/rotation", `{"overlap_hours":0}`)

	t.Run("one of two", func(t *testing.T) {
		spare := made(`{"role":"shop","name":"spare"}`)
		before := b.shop
		b.shop = spare.Key
		a := b.send(http.MethodPost, "/v1/keys/"+first+"/rotation", b.shop, `{"overlap_hours":0}`)
		if a.status != http.StatusCreated {
			t.Fatalf("%d %s", a.status, a.body)
		}
		if a := b.send(http.MethodGet, "/v1/keys", before, ""); a.status != http.StatusUnauthorized {
			t.Errorf("the first of the line: %d", a.status)
		}
		next := memberText(t, a.body, "id")
		if a := b.send(http.MethodDelete, "/v1/keys/"+next, b.shop, ""); a.status != http.StatusNoContent {
			t.Errorf("%d %s", a.status, a.body)
		}
		if a := b.send(http.MethodDelete, "/v1/keys/"+next, b.shop, ""); a.status != http.StatusNoContent {
			t.Errorf("once more: %d %s", a.status, a.body)
		}
		first = spare.Id.String()
	})
	refused("the spare one", http.MethodDelete, "/v1/keys/"+first, "")
}

// Where every shop key ends by itself one of several can go, the last cannot.
func TestLastShopKeyOfThoseThatEnd(t *testing.T) {
	b := newBench(t)
	var list client.KeyList
	strict(t, b.send(http.MethodGet, "/v1/keys?role=shop", b.shop, "").body, &list)
	endless := list.Items[0].Id
	ends := b.clock.Now().Add(48 * time.Hour)
	var keys []client.IssuedKey
	for range 2 {
		var k client.IssuedKey
		strict(t, b.send(http.MethodPost, "/v1/keys", b.shop, fmt.Sprintf(`{"role":"shop","name":"x","expires_at":%q}`, ends.Format(time.RFC3339))).body, &k)
		keys = append(keys, k)
	}
	// A store from before the rule may have come to this.
	if _, err := b.store.Keys().Revoke(t.Context(), store.ShopScope(), endless, b.clock.Now()); err != nil {
		t.Fatal(err)
	}
	if a := b.send(http.MethodPost, "/v1/keys/"+keys[0].Id.String()+"/rotation", keys[0].Key, `{}`); a.status != http.StatusCreated {
		t.Errorf("a rotation with an overlap: %d %s", a.status, a.body)
	} else if a := b.send(http.MethodDelete, "/v1/keys/"+memberText(t, a.body, "id"), keys[0].Key, ""); a.status != http.StatusNoContent {
		t.Errorf("its successor, beside others: %d %s", a.status, a.body)
	}
	if a := b.send(http.MethodDelete, "/v1/keys/"+keys[1].Id.String(), keys[0].Key, ""); a.status != http.StatusNoContent {
		t.Errorf("one of two: %d %s", a.status, a.body)
	}
	b.send(http.MethodDelete, "/v1/keys/"+keys[0].Id.String(), keys[0].Key, "").wants(t, 409, "last-shop-key")
}

// Fifty revoke the last two shop keys at once: one of the two goes on opening.
func TestLastShopKeyInParallel(t *testing.T) {
	b := newBench(t)
	var k client.IssuedKey
	strict(t, b.send(http.MethodPost, "/v1/keys", b.shop, `{"role":"shop","name":"other"}`).body, &k)
	var list client.KeyList
	strict(t, b.send(http.MethodGet, "/v1/keys?role=shop", b.shop, "").body, &list)
	if len(list.Items) != 2 {
		t.Fatalf("%d shop keys", len(list.Items))
	}
	texts := []string{b.shop, k.Key}
	var done, refused, dead atomic.Int32
	var all sync.WaitGroup
	for n := range 50 {
		all.Go(func() {
			id := list.Items[n%2].Id.String()
			for range 10 {
				r, err := http.NewRequest(http.MethodDelete, b.server.URL+"/v1/keys/"+id, nil)
				if err != nil {
					t.Error(err)
					return
				}
				r.Header.Set("Authorization", "Bearer "+texts[n/2%2])
				a, err := b.check.next.RoundTrip(r)
				if err != nil {
					t.Error(err)
					return
				}
				a.Body.Close()
				switch a.StatusCode {
				case http.StatusNoContent:
					done.Add(1)
				case http.StatusConflict:
					refused.Add(1)
				case http.StatusUnauthorized:
					dead.Add(1)
				case http.StatusServiceUnavailable: // a busy store; nothing was written
					continue
				default:
					t.Errorf("status %d", a.StatusCode)
				}
				return
			}
		})
	}
	all.Wait()
	open := 0
	for _, key := range texts {
		if b.send(http.MethodGet, "/v1/keys", key, "").status == http.StatusOK {
			open++
		}
	}
	if open != 1 {
		t.Errorf("%d of two shop keys still open, want 1", open)
	}
	if done.Load() == 0 {
		t.Error("nothing was revoked")
	}
	t.Logf("50 revocations of two keys: %d done, %d refused, %d with a key that was over; %d key opens", done.Load(), refused.Load(), dead.Load(), open)
}
