package record

import (
	"encoding/hex"
	"testing"
	"time"
)

// FIPS 180-4 example: SHA-256("abc"), published by NIST with the standard.
func TestKeyHash(t *testing.T) {
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got := hex.EncodeToString(KeyHash("abc")); got != want {
		t.Errorf("KeyHash(abc) = %s, want %s", got, want)
	}
}

func TestMoment(t *testing.T) {
	zone := time.FixedZone("", 2*3600)
	got := Moment(time.Date(2027, 3, 1, 1, 2, 3, 456_789_123, zone))
	if want := time.Date(2027, 2, 28, 23, 2, 3, 456_000_000, time.UTC); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
	if now := Moment(time.Now()); now != Moment(now) {
		t.Errorf("%v is changed by a second Moment", now)
	}
}

func TestKeyLiveAt(t *testing.T) {
	at := time.UnixMilli(1_790_000_000_000).UTC()
	before, after := at.Add(-time.Millisecond), at.Add(time.Millisecond)
	for _, c := range []struct {
		name             string
		expires, revoked *time.Time
		live             bool
	}{
		{"plain", nil, nil, true},
		{"expires later", &after, nil, true},
		{"expires now", &at, nil, false},
		{"expired", &before, nil, false},
		{"revoked now", nil, &at, false},
		{"revoked", &after, &before, false},
	} {
		if got := (Key{ExpiresAt: c.expires, RevokedAt: c.revoked}).LiveAt(at); got != c.live {
			t.Errorf("%s: live %v, want %v", c.name, got, c.live)
		}
	}
}

func TestSameRequest(t *testing.T) {
	a := IdempotencyClaim{Key: "k", Method: "POST", Route: "/r", BodyHash: []byte{1}}
	same := a
	same.Key, same.CreatedAt = "other", time.Now()
	if !a.SameRequest(same) {
		t.Error("key and time are no part of the request")
	}
	for _, change := range []func(*IdempotencyClaim){
		func(c *IdempotencyClaim) { c.Method = "PUT" },
		func(c *IdempotencyClaim) { c.Route = "/s" },
		func(c *IdempotencyClaim) { c.BodyHash = []byte{2} },
		func(c *IdempotencyClaim) { c.BodyHash = nil },
	} {
		b := a
		change(&b)
		if a.SameRequest(b) {
			t.Errorf("%+v and %+v pass for the same request", a, b)
		}
	}
}

func TestRoleValid(t *testing.T) {
	for role, want := range map[Role]bool{RoleStorefront: true, RoleDealer: true, RoleShop: true, "": false, "Shop": false, "root": false} {
		if role.Valid() != want {
			t.Errorf("%q valid: %v", role, !want)
		}
	}
}
