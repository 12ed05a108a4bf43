package main

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"crypto/sha512"
	"crypto/x509"
	"encoding/base64"
	"encoding/json"
	"encoding/pem"
	"fmt"
	"hash"
	"io"
	"maps"
	mathrand "math/rand/v2"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/go-jose/go-jose/v4"
)

// provider is an identity provider of the tests' own, with a key of each of two kinds.
type provider struct {
	*httptest.Server
	t     *testing.T
	rsa   *rsa.PrivateKey
	ec    *ecdsa.PrivateKey
	lured atomic.Int32 // requests for what only a token names
}

func newProvider(t *testing.T) *provider {
	t.Helper()
	p := &provider{t: t}
	var err error
	if p.rsa, err = rsa.GenerateKey(rand.Reader, 2048); err != nil {
		t.Fatal(err)
	}
	if p.ec, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		t.Fatal(err)
	}
	p.Server = httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch r.URL.Path {
		case "/.well-known/openid-configuration":
			_ = json.NewEncoder(w).Encode(map[string]any{"issuer": p.URL, "jwks_uri": p.URL + "/keys", "id_token_signing_alg_values_supported": []string{"RS256", "ES256", "HS256", "none"}})
		case "/keys":
			_ = json.NewEncoder(w).Encode(jose.JSONWebKeySet{Keys: []jose.JSONWebKey{
				{Key: p.rsa.Public(), KeyID: "one", Algorithm: "RS256", Use: "sig"}, {Key: p.ec.Public(), KeyID: "two", Algorithm: "ES256", Use: "sig"}}})
		default:
			p.lured.Add(1)
			http.NotFound(w, r)
		}
	}))
	t.Cleanup(p.Close)
	return p
}

func part(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

func text(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // of the test's own making
	}
	return b
}

// signWith signs what is given, whatever it is, by an algorithm of RFC 7518.
func signWith(t *testing.T, algorithm string, key any, header, claims []byte) string {
	t.Helper()
	signed := part(header) + "." + part(claims)
	size := map[string]crypto.Hash{"256": crypto.SHA256, "384": crypto.SHA384, "512": crypto.SHA512}[algorithm[2:]]
	h := size.New()
	h.Write([]byte(signed))
	sum := h.Sum(nil)
	var out []byte
	var err error
	switch k := key.(type) {
	case *rsa.PrivateKey:
		if algorithm[:2] == "PS" {
			out, err = rsa.SignPSS(rand.Reader, k, size, sum, &rsa.PSSOptions{SaltLength: rsa.PSSSaltLengthEqualsHash})
		} else {
			out, err = rsa.SignPKCS1v15(rand.Reader, k, size, sum)
		}
	case *ecdsa.PrivateKey:
		r, s, e := ecdsa.Sign(rand.Reader, k, sum)
		out, err = append(r.FillBytes(make([]byte, 32)), s.FillBytes(make([]byte, 32))...), e
	case []byte:
		m := hmac.New(map[string]func() hash.Hash{"256": sha256.New, "384": sha512.New384, "512": sha512.New}[algorithm[2:]], k)
		m.Write([]byte(signed))
		out = m.Sum(nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	return signed + "." + part(out)
}

// claims of a good token, changed.
func (p *provider) claims(change func(map[string]any)) map[string]any {
	now := time.Now()
	c := map[string]any{"iss": p.URL, "aud": []string{"other", "hatchwright"}, "sub": "moira", "iat": now.Unix(), "nbf": now.Add(-time.Minute).Unix(), "exp": now.Add(time.Hour).Unix(),
		"realm_access": map[string]any{"roles": []string{"paint", "hatch-shop"}}}
	if change != nil {
		change(c)
	}
	return c
}

// good is a token that opens, of one kind of key or the other.
func (p *provider) good(random *mathrand.Rand) string { return p.signed(random, text(p.claims(nil))) }

// signed is a token with claims that the provider itself signed.
func (p *provider) signed(random *mathrand.Rand, claims []byte) string {
	if random.IntN(2) == 0 {
		return signWith(p.t, "RS256", p.rsa, []byte(`{"alg":"RS256","kid":"one","typ":"JWT"}`), claims)
	}
	return signWith(p.t, "ES256", p.ec, []byte(`{"alg":"ES256","kid":"two"}`), claims)
}

// forgery is a way to make a token that must not open anything.
type forgery struct {
	name string
	make func(random *mathrand.Rand) string
}

// forgeries of signatures and headers: RFC 8725, sections 2 and 3, has most of them.
func (p *provider) forgeries() []forgery {
	stranger, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		p.t.Fatal(err)
	}
	strangerEC, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		p.t.Fatal(err)
	}
	der, err := x509.MarshalPKIXPublicKey(p.rsa.Public())
	if err != nil {
		p.t.Fatal(err)
	}
	derEC, err := x509.MarshalPKIXPublicKey(p.ec.Public())
	if err != nil {
		p.t.Fatal(err)
	}
	public := jose.JSONWebKey{Key: p.rsa.Public(), KeyID: "one", Algorithm: "RS256", Use: "sig"}
	jwk := text(public)
	pkcs1 := x509.MarshalPKCS1PublicKey(&p.rsa.PublicKey)
	secrets := [][]byte{der, derEC, jwk, pkcs1, p.rsa.N.Bytes(), pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der}), pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: derEC}),
		bytes.TrimSpace(pem.EncodeToMemory(&pem.Block{Type: "PUBLIC KEY", Bytes: der})), pem.EncodeToMemory(&pem.Block{Type: "RSA PUBLIC KEY", Bytes: pkcs1}), []byte("secret"), {}, []byte("hatchwright")}
	claims := func() []byte { return text(p.claims(nil)) }
	split := func(r *mathrand.Rand) []string { return strings.Split(p.good(r), ".") }
	one := func(r *mathrand.Rand, list ...string) string { return list[r.IntN(len(list))] }
	header := func(alg, kid string, more map[string]any) []byte {
		h := map[string]any{"alg": alg, "kid": kid}
		maps.Copy(h, more)
		return text(h)
	}
	noise := func(r *mathrand.Rand, n int) []byte {
		b := make([]byte, n)
		for i := range b {
			b[i] = byte(r.IntN(256))
		}
		return b
	}
	return []forgery{
		{"alg none", func(r *mathrand.Rand) string {
			return part(header(one(r, "none", "None", "NONE", "nOnE", "", "null"), one(r, "one", "two", ""), nil)) + "." + part(claims()) + "." + one(r, "", split(r)[2], part([]byte("x")))
		}},
		{"shared secret", func(r *mathrand.Rand) string {
			alg := one(r, "HS256", "HS384", "HS512")
			return signWith(p.t, alg, secrets[r.IntN(len(secrets))], header(alg, one(r, "one", "two", "", "three"), nil), claims())
		}},
		{"a stranger's key", func(r *mathrand.Rand) string {
			if r.IntN(2) == 0 {
				return signWith(p.t, "ES256", strangerEC, header("ES256", one(r, "one", "two", "", "three"), nil), claims())
			}
			alg := one(r, "RS256", "RS384", "RS512", "PS256", "PS512")
			return signWith(p.t, alg, stranger, header(alg, one(r, "one", "two", "", "three"), nil), claims())
		}},
		{"a key in the header", func(r *mathrand.Rand) string {
			key := jose.JSONWebKey{Key: stranger.Public(), KeyID: one(r, "one", "three"), Algorithm: "RS256", Use: "sig"}
			at := p.URL + "/" + one(r, "lure", "keys/../lure", "lure#/keys")
			more := map[string]any{}
			switch r.IntN(5) {
			case 0:
				more["jwk"] = key
			case 1:
				more["jku"] = at
			case 2:
				more["x5u"] = at
			case 3:
				more["x5c"] = []string{base64.StdEncoding.EncodeToString(der)}
			case 4:
				more["jwk"], more["jku"], more["x5u"], more["x5t"] = key, at, at, "AAAA"
			}
			return signWith(p.t, "RS256", stranger, header("RS256", key.KeyID, more), claims())
		}},
		{"the wrong kind of key", func(r *mathrand.Rand) string {
			if r.IntN(2) == 0 {
				return signWith(p.t, "RS256", p.rsa, header("ES256", one(r, "one", "two"), nil), claims())
			}
			return signWith(p.t, "ES256", p.ec, header(one(r, "RS256", "PS256", "EdDSA", "ES384", "ES256K"), one(r, "one", "two"), nil), claims())
		}},
		{"a kid of all sorts", func(r *mathrand.Rand) string {
			kid := []any{"../../../dev/null", "' or 1=1 --", strings.Repeat("k", 3000), "one\x00", "ONE", 1, nil, []string{"one"}, map[string]any{"kid": "one"}, "http://127.0.0.1/lure", "%00", ""}[r.IntN(12)]
			return signWith(p.t, "RS256", stranger, text(map[string]any{"alg": "RS256", "kid": kid}), claims())
		}},
		{"an empty signature of numbers", func(r *mathrand.Rand) string { // r and s of zero, or of the curve's order
			sig := make([]byte, 64)
			if r.IntN(2) == 0 {
				n := elliptic.P256().Params().N.FillBytes(make([]byte, 32))
				sig = append(slices.Clone(n), n...)
			}
			return part(header("ES256", "two", nil)) + "." + part(claims()) + "." + part(sig)
		}},
		{"cut short", func(r *mathrand.Rand) string {
			s := split(r)
			i := r.IntN(3)
			b, _ := base64.RawURLEncoding.DecodeString(s[i])
			s[i] = part(b[:r.IntN(len(b))])
			return strings.Join(s, ".")
		}},
		{"bits turned over", func(r *mathrand.Rand) string {
			s := split(r)
			i := r.IntN(3)
			b, _ := base64.RawURLEncoding.DecodeString(s[i])
			b[r.IntN(len(b))] ^= 1 << r.IntN(8)
			s[i] = part(b)
			return strings.Join(s, ".")
		}},
		{"another token's signature", func(r *mathrand.Rand) string {
			a := split(r)
			b := strings.Split(p.signed(r, text(p.claims(func(c map[string]any) { c["sub"] = "mallory"; c["jti"] = r.IntN(1 << 30) }))), ".")
			if r.IntN(2) == 0 {
				return a[0] + "." + a[1] + "." + b[2]
			}
			return a[0] + "." + b[1] + "." + a[2]
		}},
		{"parts too many or too few", func(r *mathrand.Rand) string {
			s := split(r)
			return one(r, s[0]+"."+s[1], s[0]+"."+s[1]+".", "."+s[1]+"."+s[2], s[0]+".."+s[2], "..", ".", strings.Join(s, ".")+".", strings.Join(s, ".")+".x.y", strings.Join(s, ".")+"="+"=", strings.Join(s, "%2e"), strings.Join(s, " ."),
				s[1]+"."+s[0]+"."+s[2], s[0]+"."+s[0]+"."+s[0])
		}},
		{"noise", func(r *mathrand.Rand) string {
			return part(noise(r, r.IntN(60))) + "." + part(noise(r, r.IntN(200))) + "." + part(noise(r, r.IntN(300)))
		}},
		{"huge", func(r *mathrand.Rand) string {
			switch r.IntN(4) {
			case 0:
				return part(header("RS256", "one", nil)) + "." + part(claims()) + "." + part(noise(r, 9000))
			case 1: // deeper than any reader should go
				return signWith(p.t, "RS256", stranger, header("RS256", "one", nil), []byte(`{"iss":"`+p.URL+`","x":`+strings.Repeat("[", 5000)+strings.Repeat("]", 5000)+`}`))
			case 2: // of the provider's own, beyond what is read
				return signWith(p.t, "RS256", p.rsa, header("RS256", "one", nil), text(p.claims(func(c map[string]any) { c["x"] = strings.Repeat("x", 12400) })))
			}
			return strings.Repeat("a", 40000+r.IntN(200000)) + "." + part(claims()) + ".b"
		}},
		{"what must be understood", func(r *mathrand.Rand) string {
			more := []map[string]any{{"crit": []string{"exp"}, "exp": 1}, {"crit": []string{"made-up"}, "made-up": true}, {"crit": []string{}}, {"b64": false, "crit": []string{"b64"}}}[r.IntN(4)]
			key, alg := any(p.rsa), "RS256"
			if len(more) == 1 { // an empty list; then by nobody's key
				key = stranger
			}
			return signWith(p.t, alg, key, header(alg, "one", more), claims())
		}},
		{"a name twice in the header", func(r *mathrand.Rand) string {
			return signWith(p.t, "RS256", p.rsa, []byte(one(r, `{"alg":"none","alg":"RS256","kid":"one"}`, `{"alg":"RS256","kid":"three","kid":"one"}`, `{"alg":"RS256","kid":"one","alg":"RS256"}`)), claims())
		}},
		{"claims that are no JSON object", func(r *mathrand.Rand) string {
			return p.signed(r, []byte(one(r, `[]`, `"x"`, `null`, ``, `{`, string(claims())+`{}`, `[`+string(claims())+`]`, strings.TrimSuffix(string(claims()), "}"), "\xef\xbb\xbf"+string(claims()), "\xff"+string(claims()))))
		}},
		{"claims of all sorts", func(r *mathrand.Rand) string { return p.signed(r, p.badClaims(r)) }},
		{"a claim twice", func(r *mathrand.Rand) string { return p.signed(r, p.doubled(r)) }},
	}
}

// badClaims are claims that the provider signed, for somebody else, another time or
// another use: no token that opens is one change away from them by chance.
func (p *provider) badClaims(random *mathrand.Rand) []byte {
	now := time.Now()
	pick := func(list ...any) any { return list[random.IntN(len(list))] }
	roles := func(v any) any { return map[string]any{"roles": v} }
	return text(p.claims(func(c map[string]any) {
		switch random.IntN(6) {
		case 0:
			c["iss"] = pick(p.URL+"/", strings.ToUpper(p.URL), p.URL+" ", " "+p.URL, p.URL[:len(p.URL)-1], p.URL+"@evil.example", "https://evil.example", []string{p.URL}, nil, 1, "", p.URL+"\x00", map[string]any{"iss": p.URL}, strings.Replace(p.URL, "127.0.0.1", "localhost", 1))
		case 1:
			c["aud"] = pick("storefront", "hatchwright2", "hatchwrigh", "Hatchwright", "HATCHWRIGHT", " hatchwright", "hatchwright ", "other hatchwright", "other,hatchwright", []string{}, []string{"hatch", "wright"}, []any{[]string{"hatchwright"}},
				nil, 1, true, map[string]any{"hatchwright": true}, []string{"hаtchwright"}, "", []string{"*"}, "*")
		case 2:
			c["exp"] = pick(now.Add(-2*time.Minute).Unix(), now.Add(-time.Hour*time.Duration(1+random.IntN(9999))).Unix(), 0, -1, nil, "soon", fmt.Sprint(now.Add(time.Hour).Unix()), true, []int64{now.Add(time.Hour).Unix()}, map[string]any{}, -1e300)
		case 3:
			c["nbf"] = pick(now.Add(5*time.Minute).Unix(), now.Add(time.Hour*time.Duration(1+random.IntN(9999))).Unix(), "never", 1e300, true, []int64{0})
		case 4:
			c["sub"] = pick("", nil, 1, []string{"moira"}, true, map[string]any{"sub": "moira"})
		case 5:
			switch random.IntN(8) {
			case 0:
				delete(c, "realm_access")
			case 1:
				c["realm_access"] = pick("hatch-shop", []string{"hatch-shop"}, nil, true, 1)
			case 2: // beside where it belongs
				c["realm_access"], c["roles"] = roles([]string{"paint"}), []string{"hatch-shop"}
			case 3:
				c["realm_access"] = map[string]any{"roles": map[string]any{"roles": "hatch-shop"}}
			case 4:
				c["realm_access"] = map[string]any{"Roles": "hatch-shop", "ROLES": []string{"hatch-shop"}, "role": "hatch-shop"}
			default: // near the value
				c["realm_access"] = roles(pick("hatch-shop ", " hatch-shop", "Hatch-Shop", "HATCH-SHOP", "hatch-shops", "hatch-sho", "a hatch-shop", "hatch-shop,paint", "paint hatch-shop", "hatch-shop\x00", "hatch–shop", "hаtch-shop", "hatch‐shop", "hatch-shop​",
					[]string{"hatch", "shop"}, []string{"hatch-shop "}, []string{"HATCH-SHOP", "hatch_shop", "hatch-shopping"}, []any{[]string{"hatch-shop"}}, []any{map[string]any{"hatch-shop": true}}, map[string]any{"hatch-shop": true}, true, 1, nil, []string{}, ""))
			}
		}
	}))
}

// doubled are claims in which a name comes twice, also by another case of a letter: one
// says no, and which of them is read must not decide. RFC 7519, section 4, lets a reader
// refuse them.
func (p *provider) doubled(random *mathrand.Rand) []byte {
	good := p.claims(nil)
	bad := p.claims(func(c map[string]any) {
		c["iss"], c["aud"], c["sub"], c["exp"], c["nbf"], c["realm_access"] = "https://evil.example", "storefront", "mallory", time.Now().Add(-time.Hour).Unix(), time.Now().Add(time.Hour).Unix(), map[string]any{"roles": []string{"paint"}}
	})
	names := []string{"iss", "aud", "sub", "exp", "nbf", "realm_access"}
	name := names[random.IntN(len(names))]
	twin, first, second := name, bad[name], good[name]
	if random.IntN(2) == 0 {
		first, second = second, first
	}
	if name != "realm_access" && random.IntN(2) == 0 { // claims have names of which the case counts
		twin = []string{strings.ToUpper(name), strings.ToUpper(name[:1]) + name[1:], strings.ReplaceAll(name, "s", "ſ")}[random.IntN(3)]
		if twin == name {
			twin = strings.ToUpper(name)
		}
		first, second = bad[name], good[name] // the good one under the wrong name
	}
	delete(good, name)
	rest := strings.TrimPrefix(string(text(good)), "{")
	if name == "realm_access" && random.IntN(2) == 0 {
		return []byte(`{"realm_access":{"roles":["paint"],"roles":["hatch-shop"]},` + rest)
	}
	return fmt.Appendf(nil, `{%q:%s,%q:%s,%s`, name, text(first), twin, text(second), rest)
}

// Tokens that somebody forged, or that were made out for somebody else: the built
// program refuses every one of them with 401 or 403, asks nobody but the provider for
// keys, and lets a good token in before, between and after. -forgeries 20000 is the
// long run.
func TestForgedTokens(t *testing.T) {
	p := newProvider(t)
	r := served(t, "HATCHWRIGHT_ADDRESS_RATE=0", "HATCHWRIGHT_OIDC_ISSUER="+p.URL, "HATCHWRIGHT_OIDC_AUDIENCE=hatchwright", "HATCHWRIGHT_OIDC_CLAIM=realm_access.roles", "HATCHWRIGHT_OIDC_VALUE=hatch-shop")
	client := &http.Client{}
	defer client.CloseIdleConnections()
	send := func(token string) (int, string, string) {
		t.Helper()
		q, err := http.NewRequestWithContext(t.Context(), http.MethodGet, r.at()+"/v1/dealers", nil)
		if err != nil {
			t.Fatal(err)
		}
		q.Header.Set("Authorization", "Bearer "+token)
		a, err := client.Do(q)
		if err != nil {
			t.Fatalf("%.200s: %v", token, err)
		}
		defer a.Body.Close()
		body, err := io.ReadAll(a.Body)
		if err != nil {
			t.Fatal(err)
		}
		var problem struct{ Type, Detail string }
		_ = json.Unmarshal(body, &problem)
		return a.StatusCode, problem.Type, string(body)
	}
	random := mathrand.New(mathrand.NewPCG(*forgeriesFor, 33))
	good := func(n int) {
		t.Helper()
		if status, _, body := send(p.good(random)); status != http.StatusOK {
			t.Fatalf("after %d forgeries a good token gets %d %s", n, status, body)
		}
	}
	good(0)
	ways := p.forgeries()
	made, statuses, kinds := map[string]int{}, map[int]int{}, map[string]int{}
	for n := range *forgeries {
		way := ways[n%len(ways)]
		token := way.make(random)
		status, kind, body := send(token)
		made[way.name]++
		statuses[status]++
		kinds[kind]++
		ok := status == http.StatusUnauthorized || status == http.StatusForbidden ||
			status == http.StatusRequestHeaderFieldsTooLarge && len(token) > 16<<10 // before it is a request
		if !ok {
			shown := ""
			if parts := strings.Split(token, "."); len(parts) > 1 {
				claims, _ := base64.RawURLEncoding.DecodeString(parts[1])
				head, _ := base64.RawURLEncoding.DecodeString(parts[0])
				shown = fmt.Sprintf("%.300s %.600s", head, claims)
			}
			t.Errorf("forgery %d, %s: %d %.300s\n%s", n, way.name, status, body, shown)
		}
		if len(token) > 20 && strings.Contains(body, token) {
			t.Errorf("forgery %d, %s: the token is in the answer", n, way.name)
		}
		if n%50 == 49 {
			good(n + 1)
		}
	}
	good(*forgeries)
	if n := p.lured.Load(); n > 0 {
		t.Errorf("%d requests went to where a token led", n)
	}
	t.Logf("%d forged tokens, seed %d: statuses %v, problems %v, ways %v", *forgeries, *forgeriesFor, statuses, kinds, made)
}

// Keys that are nearly one, were one, or come by another way than the header: none of
// them opens, and the key that they were made of does.
func TestForgedKeys(t *testing.T) {
	r := served(t, "HATCHWRIGHT_ADDRESS_RATE=0")
	ask := func(method, path, body string, headers ...[2]string) (int, string) {
		t.Helper()
		var b bytes.Buffer
		fmt.Fprintf(&b, "%s %s HTTP/1.1\r\nHost: x\r\nConnection: close\r\n", method, path)
		for _, h := range headers {
			fmt.Fprintf(&b, "%s: %s\r\n", h[0], h[1])
		}
		if body != "" {
			fmt.Fprintf(&b, "Content-Type: application/json\r\nContent-Length: %d\r\n", len(body))
		}
		status, _, answer, _ := wire(t, r.at(), append(b.Bytes(), "\r\n"+body...))
		return status, string(answer)
	}
	bearer := func(key string) [2]string { return [2]string{"Authorization", "Bearer " + key} }
	issue := func(body string) (id, key string) {
		t.Helper()
		status, answer := ask("POST", "/v1/keys", body, bearer(demoShop))
		var made struct{ ID, Key string }
		if err := json.Unmarshal([]byte(answer), &made); status != http.StatusCreated || err != nil {
			t.Fatalf("%d %s %v", status, answer, err)
		}
		return made.ID, made.Key
	}
	_, key := issue(`{"role":"shop","name":"bench"}`)
	gone, revoked := issue(`{"role":"shop","name":"lost"}`)
	_, over := issue(fmt.Sprintf(`{"role":"shop","name":"for a second","expires_at":%q}`, time.Now().Add(time.Second).UTC().Format(time.RFC3339Nano)))
	if status, answer := ask("DELETE", "/v1/keys/"+gone, "", bearer(demoShop)); status != http.StatusNoContent {
		t.Fatalf("%d %s", status, answer)
	}
	time.Sleep(1100 * time.Millisecond)
	opens := func(n int) {
		t.Helper()
		if status, answer := ask("GET", "/v1/dealers", "", bearer(key)); status != http.StatusOK {
			t.Fatalf("after %d forgeries the key itself gets %d %s", n, status, answer)
		}
	}
	opens(0)
	random := mathrand.New(mathrand.NewPCG(*forgeriesFor, 34))
	one := func(list ...string) string { return list[random.IntN(len(list))] }
	turn := func(s string) string { // the case of a letter, or more
		b := []byte(s)
		for done := false; !done; {
			for range 1 + random.IntN(4) {
				i := random.IntN(len(b))
				if c := b[i] ^ 0x20; c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' {
					b[i] = c
				}
			}
			done = string(b) != s
		}
		return string(b)
	}
	alike := strings.NewReplacer("h", "һ", "w", "ԝ", "a", "а", "e", "е", "o", "о", "p", "р", "c", "с", "x", "х", "A", "Α", "B", "Β", "E", "Ε", "H", "Η", "K", "Κ", "M", "Μ", "N", "Ν", "O", "Ο", "P", "Ρ", "T", "Τ", "X", "Χ", "0", "０", "1", "１", "_", "＿", "-", "－")
	type way struct {
		name string
		make func() (path string, headers [][2]string)
	}
	with := func(name string, value func() string) way {
		return way{name, func() (string, [][2]string) { return "/v1/dealers", [][2]string{{"Authorization", value()}} }}
	}
	ways := []way{
		with("a part of it", func() string { return "Bearer " + key[:random.IntN(len(key))] }),
		with("its end", func() string { return "Bearer " + key[1+random.IntN(len(key)-1):] }),
		with("more after it", func() string {
			return "Bearer " + key + one("x", "=", "\x00", ".", ",", ", "+key, " "+key, ";", "\"", "%00", "\\", "/", "\u200b")
		}),
		with("the case of a letter", func() string { return "Bearer " + turn(key) }),
		with("letters that look alike", func() string {
			i := random.IntN(len(key))
			for alike.Replace(key[i:i+1]) == key[i:i+1] {
				i = random.IntN(len(key))
			}
			return "Bearer " + key[:i] + alike.Replace(key[i:i+1]) + key[i+1:]
		}),
		with("blanks that are none", func() string {
			space := one("\u00a0", "\u2003", "\u3000", "\u200b", "\ufeff", "\u0085", "\u2028", "\v", "\f", "\t")
			return one("Bearer "+space+key, "Bearer "+key+space+"x", "Bearer"+space+key, "Bearer "+key[:9]+space+key[9:], "Bearer "+key[:9]+" "+key[9:])
		}),
		with("another scheme", func() string {
			return one("Basic "+base64.StdEncoding.EncodeToString([]byte(key+":")), "Basic "+base64.StdEncoding.EncodeToString([]byte("shop:"+key)), "Basic "+key, "Digest "+key, "Token "+key, key, "Bearer:"+key, "Bearer="+key, "Bearer,"+key, "BearerX "+key, "Bearer", "Bearer Bearer "+key,
				"Negotiate "+key, "DPoP "+key, `Bearer "`+key+`"`, "Bearer <"+key+">", "Basic Bearer "+key, "hw "+key)
		}),
		with("revoked", func() string { return "Bearer " + revoked }),
		with("over", func() string { return "Bearer " + over }),
		with("a guess", func() string {
			b := []byte(key)
			for i := 3 + random.IntN(len(b)-3); i < len(b); i++ {
				b[i] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"[random.IntN(62)]
			}
			if string(b) == key {
				b[len(b)-1] ^= 1
			}
			return "Bearer " + string(b)
		}),
		with("not its hash", func() string {
			sum := sha256.Sum256([]byte(key))
			return "Bearer " + one(fmt.Sprintf("%x", sum), base64.StdEncoding.EncodeToString(sum[:]), part(sum[:]), "hw_"+part(sum[:]), string(sum[:8]))
		}),
		{"two headers", func() (string, [][2]string) {
			other := one("Bearer "+revoked, "Bearer x", "Basic x", "", "Bearer "+demoDealer, "Bearer "+demoStorefront)
			if random.IntN(2) == 0 {
				return "/v1/dealers", [][2]string{{"Authorization", other}, {one("Authorization", "authorization", "AUTHORIZATION"), "Bearer " + key}}
			}
			return "/v1/dealers", [][2]string{{"Authorization", "Bearer " + key}, {one("Authorization", "authorization"), other}}
		}},
		{"in the query", func() (string, [][2]string) {
			return "/v1/dealers?" + one("access_token", "token", "key", "api_key", "apikey", "Authorization", "authorization", "bearer", "auth") + "=" + one(key, "Bearer%20"+key), nil
		}},
		{"in other headers", func() (string, [][2]string) {
			return "/v1/dealers", [][2]string{{one("X-Api-Key", "X-Authorization", "Proxy-Authorization", "Api-Key", "X-Auth-Token", "Cookie", "X-Access-Token", "Authentication", "X-Forwarded-Authorization", "Authorization-", "Sec-WebSocket-Protocol"), one(key, "Bearer "+key, "access_token="+key, "key="+key)}}
		}},
		{"another's", func() (string, [][2]string) { // good for itself, and for no more
			return "/v1/dealers", [][2]string{bearer(one(demoDealer, demoOther, demoStorefront))}
		}},
	}
	made, statuses := map[string]int{}, map[int]int{}
	for n := range *forgeries {
		w := ways[n%len(ways)]
		path, headers := w.make()
		status, answer := ask("GET", path, "", headers...)
		made[w.name]++
		statuses[status]++
		refused := status == http.StatusUnauthorized || w.name == "another's" && status == http.StatusForbidden ||
			status == http.StatusBadRequest && !strings.Contains(answer, "problems/") // no header at all by HTTP's own rules
		if !refused {
			t.Errorf("forgery %d, %s: %s %q: %d %.200s", n, w.name, path, headers, status, answer)
		}
		if strings.Contains(answer, key) {
			t.Errorf("forgery %d, %s: the key is in the answer %s", n, w.name, answer)
		}
		if n%50 == 49 {
			opens(n + 1)
		}
	}
	opens(*forgeries)
	t.Logf("%d forged keys, seed %d: statuses %v, ways %v", *forgeries, *forgeriesFor, statuses, made)
}
