// Package webhook signs events and calls endpoints with them: secrets and how
// they are kept (Vault), signatures after the Standard Webhooks specification
// (standardwebhooks.com, version 1.0), the schedule of attempts (Attempts), and a
// client that calls nothing but public addresses (Caller).
//
// Unlike the packages beside it, it uses the network. It knows no store: what is
// due, and what becomes of it, is for the use cases to say.
//
// # Addresses
//
// An endpoint's address is a stranger's word. The name in it is looked up when
// the call is made, and the address that comes of it is checked as the connection
// opens: a name that turns to 127.0.0.1 between two calls opens nothing. Refused
// are all addresses that IANA's registries of special-purpose addresses (RFC 6890
// and its updates) keep from global use, and those that carry an IPv4 address
// inside an IPv6 one when that is refused. An operator may allow prefixes, and
// plain HTTP. No proxy is asked and no redirect is followed.
//
// # Secrets
//
// Signing takes the secret itself, so it is kept so that it can be read again:
// sealed with AES-256-GCM under the operator's key, bound to its endpoint; in the
// clear when the operator gives no key, for then whoever reads the database reads
// them. What was kept in the clear goes on working once there is a key, and a new
// secret is sealed.
//
// # Decision: an outbox of our own, and no queue
//
// A job queue (River was looked at, which runs on both stores) retries each job by
// itself. Here the deliveries of one order to one endpoint have to wait for each
// other, be parked with their followers behind them, and be listed and resent by
// the people who own them, under the same row-level security as everything else.
// Each of these would have been a table beside the queue, and the queue then a
// second source of truth. So: one table of deliveries, claimed with a lease
// (FOR UPDATE SKIP LOCKED, or SQLite's single writer). The price is a claim query
// of our own, which the store's suite races.
package webhook
