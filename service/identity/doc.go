// Package identity verifies the tokens that an OpenID Connect provider gives to the
// shop's people, so that they need no API key.
//
// A token is a JWT (RFC 7519) in Authorization: Bearer. It is taken when its
// signature is by a key that the provider publishes now, with an asymmetric
// algorithm (RFC 8725, section 3.1: never "none", never a shared secret), its issuer
// and one of its audiences are those configured, it has a subject, it is within its
// times give or take Leeway, and the configured claim has the configured value.
//
// Discovery and keys are fetched when the first token comes, and keys again when a
// token names one that is not known. Each fetch has a time limit, and
// its result is cached briefly, so that neither a provider that cannot be reached nor tokens
// made up by strangers make the service ask again and again. A provider that cannot
// be reached gives *Unavailable; everything else that is wrong gives *Refusal.
//
// Sources: OpenID Connect Core 1.0 (3.1.3.7, 10.1.1), OpenID Connect Discovery 1.0,
// RFC 7519, RFC 8725. Signatures and discovery are go-oidc's.
package identity
