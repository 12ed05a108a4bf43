// Package client holds the models of the service's contract and a client in Go, both
// generated from openapi.yaml by go generate ./openapi. Programs that ask the service
// use it, and so do the tests; the server does not.
//
// Lengths are in the unit that each document names. The client refuses nothing by
// itself: the service does, with a problem (RFC 9457).
package client
