// Package openapi holds the service's contract: the OpenAPI document, and the
// models and the client that are generated from it.
//
// openapi.yaml is authored by hand and is the source of truth. client.gen.go is
// generated from it and committed; a test of this package says when it is stale.
// Lengths on the wire are in the unit that each document names.
//
// The package refuses nothing: whether a request keeps to the document is for
// package api to say.
package openapi

//go:generate go tool oapi-codegen -config oapi-codegen.yaml openapi.yaml
