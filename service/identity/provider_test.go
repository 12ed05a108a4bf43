package identity

import (
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"encoding/base64"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
)

// issuer is a provider of the tests' own.
type issuer struct {
	*httptest.Server
	mu    sync.Mutex
	keys  []jose.JSONWebKey // the last one signs
	down  atomic.Bool
	asked atomic.Int32 // for keys
}

func newIssuer(t *testing.T) *issuer {
	t.Helper()
	i := &issuer{}
	i.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if i.down.Load() {
			w.WriteHeader(http.StatusBadGateway)
			return
		}
		w.Header().Set("Content-Type", "application/json")
		switch r.URL.Path {
		case "/.well-known/openid-configuration":
			_ = json.NewEncoder(w).Encode(map[string]any{"issuer": i.URL, "jwks_uri": i.URL + "/keys", "id_token_signing_alg_values_supported": []string{"RS256", "HS256", "none"}})
		case "/keys":
			i.asked.Add(1)
			i.mu.Lock()
			defer i.mu.Unlock()
			set := jose.JSONWebKeySet{}
			for _, k := range i.keys {
				set.Keys = append(set.Keys, k.Public())
			}
			_ = json.NewEncoder(w).Encode(set)
		default:
			http.NotFound(w, r)
		}
	}))
	t.Cleanup(i.Close)
	i.rotate(t, "one", jose.RS256)
	return i
}

// rotate takes the older keys away and signs with a new one.
func (i *issuer) rotate(t *testing.T, id string, algorithm jose.SignatureAlgorithm) {
	t.Helper()
	var key crypto.PrivateKey
	var err error
	if algorithm == jose.ES256 {
		key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	} else {
		key, err = rsa.GenerateKey(rand.Reader, 2048)
	}
	if err != nil {
		t.Fatal(err)
	}
	i.mu.Lock()
	defer i.mu.Unlock()
	i.keys = []jose.JSONWebKey{{Key: key, KeyID: id, Algorithm: string(algorithm), Use: "sig"}}
}

func (i *issuer) key() jose.JSONWebKey {
	i.mu.Lock()
	defer i.mu.Unlock()
	return i.keys[0]
}

func signed(t *testing.T, key jose.SigningKey, claims map[string]any) string {
	t.Helper()
	s, err := jose.NewSigner(key, (&jose.SignerOptions{}).WithType("JWT"))
	if err != nil {
		t.Fatal(err)
	}
	body, err := json.Marshal(claims)
	if err != nil {
		t.Fatal(err)
	}
	sig, err := s.Sign(body)
	if err != nil {
		t.Fatal(err)
	}
	text, err := sig.CompactSerialize()
	if err != nil {
		t.Fatal(err)
	}
	return text
}

var noon = time.Date(2026, 11, 30, 12, 0, 0, 0, time.UTC)

// claims of a good token, changed.
func (i *issuer) claims(change func(map[string]any)) map[string]any {
	c := map[string]any{"iss": i.URL, "aud": []string{"other", "hatchwright"}, "sub": "moira", "iat": noon.Unix(), "nbf": noon.Unix(), "exp": noon.Add(time.Hour).Unix(),
		"roles": []string{"paint", "shop"}}
	if change != nil {
		change(c)
	}
	return c
}

func (i *issuer) token(t *testing.T, change func(map[string]any)) string {
	t.Helper()
	k := i.key()
	return signed(t, jose.SigningKey{Algorithm: jose.SignatureAlgorithm(k.Algorithm), Key: k}, i.claims(change))
}

func (i *issuer) provider(t *testing.T, claim string) (*Provider, *time.Time) {
	t.Helper()
	now := noon
	p, err := New(Options{Issuer: i.URL, Audience: "hatchwright", Claim: claim, Value: "shop", Clock: func() time.Time { return now }})
	if err != nil {
		t.Fatal(err)
	}
	return p, &now
}

// wants checks for a refusal with a reason, "" for none.
func wants(t *testing.T, what string, p *Provider, token string, reason Reason) {
	t.Helper()
	who, err := p.Verify(t.Context(), token)
	var r *Refusal
	switch {
	case reason == "" && (err != nil || who.Subject != "moira" || who.Issuer != p.o.Issuer):
		t.Errorf("%s: %+v, %v", what, who, err)
	case reason != "" && (!errors.As(err, &r) || r.Reason != reason || who != Person{}):
		t.Errorf("%s: %+v, %v, want a refusal for %s", what, who, err, reason)
	}
	if err != nil && strings.Contains(err.Error(), token) {
		t.Errorf("%s: the token is in the error", what)
	}
}

// What OpenID Connect Core 1.0, 3.1.3.7, RFC 7519 and RFC 8725 have to be checked.
func TestVerify(t *testing.T) {
	i := newIssuer(t)
	p, _ := i.provider(t, "roles")
	set := func(claim string, value any) func(map[string]any) {
		return func(c map[string]any) { c[claim] = value }
	}
	at := func(d time.Duration) any { return noon.Add(d).Unix() }
	for what, c := range map[string]struct {
		change func(map[string]any)
		reason Reason
	}{
		"good":                    {nil, ""},
		"one audience":            {set("aud", "hatchwright"), ""},
		"wrong audience":          {set("aud", "storefront"), OtherUse},
		"no audience":             {set("aud", nil), OtherUse},
		"wrong issuer":            {set("iss", "https://id.example"), OtherIssuer},
		"issuer with a slash":     {set("iss", i.URL+"/"), OtherIssuer},
		"no issuer":               {set("iss", nil), OtherIssuer},
		"expired":                 {set("exp", at(-time.Hour)), Over},
		"expired past the leeway": {set("exp", at(-Leeway-time.Second)), Over},
		"expired in the leeway":   {set("exp", at(-Leeway+time.Second)), ""},
		"without an end":          {func(c map[string]any) { delete(c, "exp") }, Over},
		"an end that is no time":  {set("exp", "soon"), Malformed},
		"not yet":                 {set("nbf", at(Leeway+time.Second)), Early},
		"not yet, by hours":       {set("nbf", at(5*time.Hour)), Early},
		"not yet in the leeway":   {set("nbf", at(Leeway-time.Second)), ""},
		"without a beginning":     {set("nbf", nil), ""},
		"no subject":              {set("sub", ""), NoSubject},
		"no role claim":           {func(c map[string]any) { delete(c, "roles") }, NoRole},
		"another role":            {set("roles", []string{"shopping", "Shop"}), NoRole},
		"role as text":            {set("roles", "shop"), ""},
		"role in a longer text":   {set("roles", "shop window"), NoRole},
		"role as something else":  {set("roles", map[string]any{"shop": true}), NoRole},
	} {
		wants(t, what, p, i.token(t, c.change), c.reason)
	}
	// A claim within others, one with dots in its name, and a scope.
	nested, _ := i.provider(t, "realm_access.roles")
	wants(t, "nested", nested, i.token(t, set("realm_access", map[string]any{"roles": []string{"shop"}})), "")
	wants(t, "not nested", nested, i.token(t, nil), NoRole)
	dotted, _ := i.provider(t, "https://shop.example/roles")
	wants(t, "dotted", dotted, i.token(t, set("https://shop.example/roles", []string{"shop"})), "")
	scope, _ := i.provider(t, "scope")
	wants(t, "scope", scope, i.token(t, set("scope", "openid shop")), "")
	wants(t, "another scope", scope, i.token(t, set("scope", "openid shops")), NoRole)
}

// Claims that can be read in more ways than one: RFC 7519, sections 4 and 10.1.1.
func TestVerifyAmbiguous(t *testing.T) {
	i := newIssuer(t)
	p, _ := i.provider(t, "roles")
	whole, err := json.Marshal(i.claims(nil))
	if err != nil {
		t.Fatal(err)
	}
	with := func(more string) string {
		t.Helper()
		k := i.key()
		s, err := jose.NewSigner(jose.SigningKey{Algorithm: jose.SignatureAlgorithm(k.Algorithm), Key: k}, nil)
		if err != nil {
			t.Fatal(err)
		}
		sig, err := s.Sign([]byte("{" + more + "," + string(whole[1:])))
		if err != nil {
			t.Fatal(err)
		}
		text, err := sig.CompactSerialize()
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	for what, c := range map[string]struct {
		more   string
		reason Reason
	}{
		"one more":                 {`"x":1`, ""},
		"one in other letters":     {`"X":1,"x":2`, ""},
		"names within others":      {`"a":{"x":1,"exp":0,"Exp":1},"b":[{"x":1},{"x":2}]`, ""},
		"another subject before":   {`"sub":"mallory"`, Malformed},
		"over, before":             {`"exp":1`, Malformed},
		"other letters":            {`"Exp":4000000000`, Malformed},
		"letters that fold":        {`"\u017fub":"mallory"`, Malformed},
		"an escape for a letter":   {`"\u0073ub":"mallory"`, Malformed},
		"another role before":      {`"roles":["paint"]`, Malformed},
		"twice within another":     {`"a":{"x":1,"x":2}`, Malformed},
		"twice within a list":      {`"a":[{"x":1,"x":2}]`, Malformed},
		"deeper than anybody goes": {`"a":` + strings.Repeat("[", 60) + strings.Repeat("]", 60), Malformed},
	} {
		wants(t, what, p, with(c.more), c.reason)
	}
}

// Signatures that are none, by a shared secret, by a stranger, of another text.
func TestVerifySignatures(t *testing.T) {
	i := newIssuer(t)
	p, _ := i.provider(t, "roles")
	good := i.token(t, nil)
	wants(t, "good", p, good, "")
	parts := strings.Split(good, ".")
	encode := base64.RawURLEncoding.EncodeToString
	wants(t, "none", p, encode([]byte(`{"alg":"none","typ":"JWT"}`))+"."+parts[1]+".", BadSignature)
	wants(t, "None", p, encode([]byte(`{"alg":"None","kid":"one"}`))+"."+parts[1]+"."+parts[2], BadSignature)
	wants(t, "no signature", p, parts[0]+"."+parts[1]+".", BadSignature)
	// RFC 8725, section 2.1: the public key, which everybody has, as a shared secret.
	key := i.key()
	public, err := key.Public().MarshalJSON()
	if err != nil {
		t.Fatal(err)
	}
	wants(t, "HS256", p, signed(t, jose.SigningKey{Algorithm: jose.HS256, Key: jose.JSONWebKey{Key: public, KeyID: "one"}}, i.claims(nil)), BadSignature)
	stranger, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	wants(t, "a stranger's key", p, signed(t, jose.SigningKey{Algorithm: jose.RS256, Key: jose.JSONWebKey{Key: stranger, KeyID: "one"}}, i.claims(nil)), BadSignature)
	other := strings.Split(i.token(t, func(c map[string]any) { c["sub"] = "mallory" }), ".")
	wants(t, "another's claims", p, parts[0]+"."+other[1]+"."+parts[2], BadSignature)
	for _, text := range []string{"a.b.c", "..", "a.b", "", good + "x.", "....."} {
		_, err := p.Verify(t.Context(), text)
		var r *Refusal
		if !errors.As(err, &r) {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Keys that are changed over are fetched once they sign; made-up ones do not make the
// service ask again and again.
func TestVerifyRotatedKeys(t *testing.T) {
	i := newIssuer(t)
	p, _ := i.provider(t, "roles")
	clock := noon
	p.client.Transport.(*sparing).clock = func() time.Time { return clock }
	old := i.token(t, nil)
	wants(t, "old key", p, old, "")
	i.rotate(t, "two", jose.ES256)
	clock = clock.Add(goodFor)
	wants(t, "new key", p, i.token(t, nil), "")
	wants(t, "the old one is gone", p, old, BadSignature)
	asked := i.asked.Load()
	for range 20 {
		stranger := signed(t, jose.SigningKey{Algorithm: jose.ES256, Key: jose.JSONWebKey{Key: i.key().Key, KeyID: "made up"}}, i.claims(nil))
		wants(t, "made up", p, stranger, BadSignature)
	}
	if more := i.asked.Load() - asked; more > 0 {
		t.Errorf("asked for keys %d times within %v", more, goodFor)
	}
}

// A provider that is away is told from a bad token, costs little, and is found again.
func TestVerifyAway(t *testing.T) {
	i := newIssuer(t)
	p, _ := i.provider(t, "roles")
	clock := noon
	p.client.Transport.(*sparing).clock = func() time.Time { return clock }
	i.down.Store(true)
	away := func(what string) {
		t.Helper()
		_, err := p.Verify(t.Context(), i.token(t, nil))
		var a *Unavailable
		if !errors.As(err, &a) {
			t.Errorf("%s: %v", what, err)
		}
	}
	away("before discovery")
	i.down.Store(false)
	away("within a moment") // not asked again so soon
	clock = clock.Add(badFor)
	wants(t, "back", p, i.token(t, nil), "")
	i.rotate(t, "two", jose.RS256)
	i.down.Store(true)
	clock = clock.Add(goodFor)
	away("when keys are fetched")
	clock = clock.Add(badFor)
	i.down.Store(false)
	// Whoever waits with a fetch that is about to fail gets its error too, and asks again.
	for range 50 {
		if _, err := p.Verify(t.Context(), i.token(t, nil)); err == nil {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	wants(t, "back again", p, i.token(t, nil), "")

	// One that never answers takes no longer than its bound, and what the caller
	// waits for ends with the caller.
	hang := make(chan struct{})
	silent := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { <-hang }))
	t.Cleanup(silent.Close)
	t.Cleanup(func() { close(hang) })
	q, err := New(Options{Issuer: silent.URL, Audience: "hatchwright", Claim: "roles", Value: "shop"})
	if err != nil {
		t.Fatal(err)
	}
	q.client.Timeout = 50 * time.Millisecond
	i.mu.Lock()
	claims := i.keys[0]
	i.mu.Unlock()
	c := i.claims(func(c map[string]any) { c["iss"] = silent.URL })
	_, err = q.Verify(context.Background(), signed(t, jose.SigningKey{Algorithm: jose.RS256, Key: claims}, c))
	var a *Unavailable
	if !errors.As(err, &a) {
		t.Errorf("silent: %v", err)
	}
}

func TestNew(t *testing.T) {
	good := Options{Issuer: "https://id.example", Audience: "hatchwright", Claim: "roles", Value: "shop"}
	if _, err := New(good); err != nil {
		t.Error(err)
	}
	for what, change := range map[string]func(*Options){
		"no issuer": func(o *Options) { o.Issuer = "" }, "no audience": func(o *Options) { o.Audience = "" }, "no claim": func(o *Options) { o.Claim = "" },
		"no value": func(o *Options) { o.Value = "" }, "plain": func(o *Options) { o.Issuer = "http://id.example" }, "no URL": func(o *Options) { o.Issuer = "id.example" },
	} {
		o := good
		change(&o)
		if _, err := New(o); err == nil {
			t.Errorf("%s passes", what)
		}
	}
}
