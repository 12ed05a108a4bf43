package api

import (
	"errors"
	"net/http"

	"hatchwright/service/access"
	"hatchwright/service/identity"
)

// The problems of keys that once were good, and of tokens of the identity provider.
var (
	problemKeyRevoked = listed(problem{name: "key-revoked", status: http.StatusUnauthorized, title: "The key was revoked",
		meaning: "The key was good once; the shop has revoked it, at the time that the detail names.",
		remedy:  "Ask the shop for another key. If you did not expect this, ask who had the old one: a key is revoked when it may be known to others."})
	problemKeyExpired = listed(problem{name: "key-expired", status: http.StatusUnauthorized, title: "The key is over",
		meaning: "The key was made for a time, and that is past.",
		remedy:  "Ask the shop for another key, before the present one ends the next time: expires_at was told when it was made."})
	problemTokenRefused = listed(problem{name: "token-refused", status: http.StatusUnauthorized, title: "The token does not let you in",
		meaning: "The token in Authorization was looked at and refused: it is over or not valid yet (a minute of difference between clocks is allowed), it was made by another issuer or for another audience, or its signature does not verify.",
		remedy:  "The detail says which. Sign in again with the identity provider that the shop uses and send the token that it gives for this service. Whoever runs the service can check HATCHWRIGHT_OIDC_ISSUER and HATCHWRIGHT_OIDC_AUDIENCE against it, and the clocks."})
	problemTokenRole = listed(problem{name: "token-role", status: http.StatusForbidden, title: "The token lacks the role of the shop",
		meaning: "The token is good, but it lacks the claim that makes its holder one of the shop's people.",
		remedy:  "Whoever runs the identity provider can grant it: the detail names the claim and its value. Sign in again afterwards, as a token keeps the claims that it was made with. Dealers use API keys."})
	problemIdentityAway = listed(problem{name: "identity-unavailable", status: http.StatusServiceUnavailable, title: "The identity provider is away", retry: 5,
		meaning: "The service cannot reach the identity provider for its keys, so that it cannot tell good tokens from bad ones. API keys go on working. Nothing was written.",
		remedy:  "Wait as Retry-After says and send the request again, or use an API key of the shop meanwhile."})
)

// tokenProblem is what an error says of a key or a token, nil for nothing.
func tokenProblem(err error) *problem {
	var r *identity.Refusal
	var away *identity.Unavailable
	switch {
	case errors.Is(err, access.ErrRevoked):
		return problemKeyRevoked
	case errors.Is(err, access.ErrExpired):
		return problemKeyExpired
	case errors.As(err, &r) && r.Reason == identity.NoRole:
		return problemTokenRole
	case errors.As(err, &r):
		return problemTokenRefused
	case errors.As(err, &away):
		return problemIdentityAway
	}
	return nil
}
