package service

import (
	"bytes"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/access"
	"hatchwright/service/record"
	"hatchwright/store"
)

// What a key seals it opens, in its place, and nothing else does: not another key, not
// what the database has of the key, not the same key in another place.
func TestSealedAnswers(t *testing.T) {
	caller := func(credential string) Caller {
		c := Caller{KeyID: uuid.UUID{1}, Role: record.RoleShop}
		if credential != "" {
			var err error
			if c.answers, err = newAnswersKey(credential); err != nil {
				t.Fatal(err)
			}
		}
		return c
	}
	const credential = "hw_Vd3kQnO0F1mJcQy7bX2sT5uWzA8rLpEeHgKiNoPqRs4"
	claim := record.IdempotencyClaim{Caller: "key:1", Method: "POST", Route: "/v1/keys", Key: "k", BodyHash: []byte{1}}
	whole := record.Answer{Status: 201, Header: http.Header{"Etag": {`"1"`}}, Body: []byte(`{"key":"hw_shown"}`), Bare: &record.Answer{Status: 200, Body: []byte(`{}`)}}
	s := &Service{random: rand.Reader}
	kept, err := s.seal(caller(credential), whole, claim)
	if err != nil {
		t.Fatal(err)
	}
	if kept.Status != 200 || string(kept.Body) != "{}" || kept.Sealed == "" || strings.Contains(kept.Sealed, "hw_shown") {
		t.Errorf("kept is %+v", kept)
	}
	for _, k := range []struct {
		name   string
		caller Caller
		change func(*record.IdempotencyClaim)
		opens  bool
	}{
		{"the same key", caller(credential), nil, true},
		{"another key", caller(credential + "x"), nil, false},
		{"no key", caller(""), nil, false},
		{"the hash that the database has", caller(string(record.KeyHash(credential))), nil, false},
		{"another caller's place", caller(credential), func(c *record.IdempotencyClaim) { c.Caller = "key:2" }, false},
		{"another method's place", caller(credential), func(c *record.IdempotencyClaim) { c.Method = "PUT" }, false},
		{"another route's place", caller(credential), func(c *record.IdempotencyClaim) { c.Route = "/v1/webhooks" }, false},
		{"another key's place", caller(credential), func(c *record.IdempotencyClaim) { c.Key = "l" }, false},
		{"another body's place", caller(credential), func(c *record.IdempotencyClaim) { c.BodyHash = []byte{2} }, false},
		{"another owner's place", Caller{Role: record.RoleStorefront, answers: caller(credential).answers}, nil, false},
	} {
		t.Run(k.name, func(t *testing.T) {
			at := claim
			if k.change != nil {
				k.change(&at)
			}
			got := unseal(k.caller, kept, at)
			want := *whole.Bare
			if k.opens {
				want = record.Answer{Status: 201, Header: whole.Header, Body: whole.Body}
			}
			if fmt.Sprint(got) != fmt.Sprint(want) {
				t.Errorf("got %+v, want %+v", got, want)
			}
		})
	}
	if kept, err := s.seal(caller(""), whole, claim); err != nil || kept.Sealed != "" || kept.Status != 200 {
		t.Errorf("for who has no lasting credential %+v is kept, %v", kept, err)
	}
	if kept, err := s.seal(caller(credential), record.Answer{Status: 201, Body: []byte("x")}, claim); err != nil || kept.Sealed != "" || string(kept.Body) != "x" {
		t.Errorf("of an answer without a secret %+v is kept, %v", kept, err)
	}
	if said := fmt.Sprintf("%v %+v %#v", caller(credential), caller(credential), caller(credential)); strings.Contains(said, fmt.Sprintf("%d", caller(credential).answers[:])) || strings.Contains(said, fmt.Sprint(caller(credential).answers[:8])[1:20]) {
		t.Error("a printed caller shows its key")
	}
	if scope := caller(credential).Scope(); scope != store.ShopScope() {
		t.Errorf("the scope is %v", scope)
	}
}

// The key of kept answers is HKDF (RFC 5869, 2.2 and 2.3), written out here by hand: the
// credential is the message of the HMAC and not its key, so that one longer than a block
// of SHA-256 (64 bytes) does not come in as its hash, which the database has.
func TestAnswersKey(t *testing.T) {
	mac := func(key, message []byte) []byte {
		h := hmac.New(sha256.New, key)
		h.Write(message)
		return h.Sum(nil)
	}
	for _, credential := range []string{"hw_demo_shop_known_to_everybody", strings.Repeat("k", 64), strings.Repeat("k", 65), strings.Repeat("k", access.LongestKey)} {
		t.Run(fmt.Sprint(len(credential)), func(t *testing.T) {
			got, err := newAnswersKey(credential)
			if err != nil {
				t.Fatal(err)
			}
			want := mac(mac(make([]byte, sha256.Size), []byte(credential)), append([]byte(answersInfo), 1))
			if !bytes.Equal(got[:], want) {
				t.Errorf("got %x, want %x", got[:], want)
			}
			fromHash, err := newAnswersKey(string(record.KeyHash(credential)))
			if err != nil || *fromHash == *got {
				t.Errorf("the hash gives the same key, %v", err)
			}
		})
	}
}
