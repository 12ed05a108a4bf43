package identity

import (
	"context"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
)

// Leeway is how far the provider's clock may be off: a token is taken that long
// after its end and before its beginning. A minute is what time servers keep by far,
// and little beside the minutes to hours that tokens live (common practice, no source).
const Leeway = time.Minute

// fetchTime is what one fetching from the provider may take: a person waits for it.
const fetchTime = 5 * time.Second

// algorithms are the signatures that are taken: asymmetric ones only.
var algorithms = []string{
	oidc.RS256, oidc.RS384, oidc.RS512, oidc.PS256, oidc.PS384, oidc.PS512, oidc.ES256, oidc.ES384, oidc.ES512, oidc.EdDSA,
}

// Options name a provider and what lets its people in. All but Clock and Transport
// are needed.
type Options struct {
	Issuer   string // its URL, as its tokens have it
	Audience string // what tokens for this service are made out to
	Claim    string // grants the shop role; a path with dots where no claim has that name as a whole
	Value    string // that the claim has to have, or to hold

	Clock     func() time.Time  // nil: time.Now
	Transport http.RoundTripper // nil: http.DefaultTransport
}

// Person is who a token speaks of.
type Person struct {
	Issuer  string
	Subject string
}

// Reason says what is wrong with a token.
type Reason string

// The reasons.
const (
	Malformed    Reason = "malformed"
	BadSignature Reason = "signature"
	OtherIssuer  Reason = "issuer"
	OtherUse     Reason = "audience"
	Over         Reason = "expired"
	Early        Reason = "not_yet_valid"
	NoSubject    Reason = "subject"
	NoRole       Reason = "role"
)

// Refusal is a token that does not let its holder in.
type Refusal struct {
	Reason Reason
	Detail string // what and how to mend it; nothing of the token is in it
}

func (r *Refusal) Error() string { return r.Detail }

// Unavailable is a provider that cannot be reached or answers nonsense.
type Unavailable struct{ Cause error }

func (a *Unavailable) Error() string {
	return "the identity provider cannot be reached: " + a.Cause.Error()
}
func (a *Unavailable) Unwrap() error { return a.Cause }

// Provider verifies the tokens of one issuer. It is safe for concurrent use.
type Provider struct {
	o      Options
	client *http.Client

	mu       sync.Mutex
	verifier *oidc.IDTokenVerifier // nil before discovery
}

// New makes a provider. It does no input or output.
func New(o Options) (*Provider, error) {
	for name, value := range map[string]string{"issuer": o.Issuer, "audience": o.Audience, "claim": o.Claim, "value of the claim": o.Value} {
		if value == "" {
			return nil, fmt.Errorf("identity provider: the %s is missing", name)
		}
	}
	if u, err := url.Parse(o.Issuer); err != nil || u.Host == "" || u.Scheme != "https" && !(u.Scheme == "http" && loopback(u.Hostname())) {
		return nil, errors.New("identity provider: the issuer is an https:// URL, as its tokens have it")
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Transport == nil {
		o.Transport = http.DefaultTransport
	}
	return &Provider{o: o, client: &http.Client{Timeout: fetchTime, Transport: &sparing{next: o.Transport, clock: time.Now, kept: map[string]fetched{}}}}, nil
}

// loopback tells a host that no network carries: there alone plain HTTP will do.
func loopback(host string) bool { return host == "localhost" || host == "127.0.0.1" || host == "::1" }

// Token tells whether a credential is a token rather than a key: three parts with
// dots between (RFC 7515, section 7.1).
func Token(credential string) bool { return strings.Count(credential, ".") == 2 }

// Verify finds whom a token speaks of. Errors are *Refusal, *Unavailable, or the context's.
func (p *Provider) Verify(ctx context.Context, token string) (Person, error) {
	// Who made it is looked at first, unverified: a token of somebody else's is no
	// reason to ask this provider for keys.
	var claimed struct {
		Issuer string `json:"iss"`
	}
	parts := strings.Split(token, ".")
	body, err := base64.RawURLEncoding.DecodeString(parts[min(1, len(parts)-1)])
	if err != nil || len(parts) != 3 || json.Unmarshal(body, &claimed) != nil {
		return Person{}, &Refusal{Malformed, "The token is no JWT. Send what the identity provider gave, unchanged."}
	}
	if !unambiguous(body) {
		return Person{}, &Refusal{Malformed, "The token has a claim twice, or one of " + strings.Join(deciding, ", ") + " in other letters, so that which of them counts would be a guess. The identity provider has to send each once and in small letters."}
	}
	if claimed.Issuer != p.o.Issuer {
		return Person{}, &Refusal{OtherIssuer, fmt.Sprintf("The token is not by %s. Sign in there for one.", p.o.Issuer)}
	}
	v, err := p.ready(ctx)
	if err != nil {
		return Person{}, err
	}
	var s signature
	t, err := v.Verify(context.WithValue(ctx, signatureKey{}, &s), token)
	switch {
	case err == nil:
	case ctx.Err() != nil:
		return Person{}, ctx.Err()
	case s.lost != nil:
		return Person{}, &Unavailable{s.lost}
	case !s.good:
		return Person{}, &Refusal{BadSignature, "The token's signature does not verify with a key that the identity provider publishes, or is of a kind that is not taken. Get a new one; none and shared secrets are never taken."}
	case !audienceOf(body, p.o.Audience):
		return Person{}, &Refusal{OtherUse, fmt.Sprintf("The token is not made out to %s. Ask the identity provider for one with this audience.", p.o.Audience)}
	default:
		return Person{}, &Refusal{Malformed, "The token's claims cannot be read. Send what the identity provider gave, unchanged."}
	}
	var times struct {
		End       *float64 `json:"exp"`
		NotBefore *float64 `json:"nbf"`
	}
	all := map[string]any{}
	if t.Claims(&times) != nil || t.Claims(&all) != nil {
		return Person{}, &Refusal{Malformed, "The token's claims cannot be read. Send what the identity provider gave, unchanged."}
	}
	// In seconds; the library's own check allows minutes before the beginning.
	now, leeway := float64(p.o.Clock().UnixMilli())/1000, Leeway.Seconds()
	switch {
	case times.End == nil || now >= *times.End+leeway:
		return Person{}, &Refusal{Over, "The token is over, or has no end. Get a new one from the identity provider."}
	case times.NotBefore != nil && now < *times.NotBefore-leeway:
		return Person{}, &Refusal{Early, "The token is not valid yet. Wait for its beginning, and set the clocks of provider and service by the same time servers."}
	}
	if t.Subject == "" {
		return Person{}, &Refusal{NoSubject, "The token says nobody: it has no sub. Sign in as a person."}
	}
	if !grants(all, p.o.Claim, p.o.Value) {
		return Person{}, &Refusal{NoRole, fmt.Sprintf("The token's claim %s does not have %q. Whoever runs the identity provider can grant it.", p.o.Claim, p.o.Value)}
	}
	return Person{Issuer: t.Issuer, Subject: t.Subject}, nil
}

// audienceOf tells whether a token whose verification failed is at least made out to
// this service. It only words a refusal.
func audienceOf(body []byte, audience string) bool {
	var claims struct {
		Audience any `json:"aud"`
	}
	return json.Unmarshal(body, &claims) == nil && holds(claims.Audience, audience)
}

// grants tells whether the claim of that name, or at that path, has the value. A
// scope is words with spaces between (RFC 8693, section 4.2); any other text is
// taken whole.
func grants(claims map[string]any, claim, value string) bool {
	if v, ok := claims[claim]; ok {
		if s, ok := v.(string); ok && claim == "scope" {
			return slices.Contains(strings.Fields(s), value)
		}
		return holds(v, value)
	}
	first, rest, nested := strings.Cut(claim, ".")
	below, ok := claims[first].(map[string]any)
	return nested && ok && grants(below, rest, value)
}

func holds(v any, value string) bool {
	switch v := v.(type) {
	case string:
		return v == value
	case []any:
		return slices.Contains(v, any(value))
	}
	return false
}

// ready is the verifier, after discovery when that is still to be done. Whoever comes
// meanwhile waits for the same.
func (p *Provider) ready(ctx context.Context) (*oidc.IDTokenVerifier, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.verifier != nil {
		return p.verifier, nil
	}
	// The client's time bounds it; a caller who leaves spoils nothing for the others.
	of := oidc.ClientContext(context.WithoutCancel(ctx), p.client)
	found, err := oidc.NewProvider(of, p.o.Issuer)
	if err != nil {
		return nil, &Unavailable{err}
	}
	var keys struct {
		URL string `json:"jwks_uri"`
	}
	if err := found.Claims(&keys); err != nil || keys.URL == "" {
		return nil, &Unavailable{errors.New("its discovery document names no keys")}
	}
	p.verifier = oidc.NewVerifier(p.o.Issuer, &told{oidc.NewRemoteKeySet(oidc.ClientContext(context.Background(), p.client), keys.URL)},
		&oidc.Config{ClientID: p.o.Audience, SupportedSigningAlgs: algorithms, SkipExpiryCheck: true})
	return p.verifier, nil
}

// signature is what came of verifying one: the verifier's error does not tell.
type signature struct {
	good bool
	lost error // the keys could not be fetched
}

type signatureKey struct{}

// told is a set of keys that tells what came of verifying a signature.
type told struct{ oidc.KeySet }

func (k *told) VerifySignature(ctx context.Context, jwt string) ([]byte, error) {
	payload, err := k.KeySet.VerifySignature(ctx, jwt)
	if into, ok := ctx.Value(signatureKey{}).(*signature); ok {
		into.good = err == nil
		if lost := (*unfetched)(nil); errors.As(err, &lost) {
			into.lost = lost
		}
	}
	return payload, err
}
