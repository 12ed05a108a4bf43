// Package receiver is for whoever is called with events: it verifies calls after
// the Standard Webhooks specification (standardwebhooks.com, version 1.0), by that
// specification's own library, and reads their events.
//
// Refused are calls without a signature or with a wrong one, calls whose time is too
// far from the receiver's clock, calls that were dealt with already, and what is no
// event; each is an error of its own, with a page of the service that says what to
// do.
package receiver
