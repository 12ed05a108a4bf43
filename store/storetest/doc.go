// Package storetest is the one suite that every store passes. An engine's test
// hands Run a Harness; what only some engines can do is declared in it, and a
// check that needs it is left out for the others by that declaration alone.
//
// A bug found in one engine becomes a case here, for both.
package storetest
