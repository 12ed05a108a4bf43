// Package openapi holds the service's contract: the OpenAPI document, and what a
// date and a time of it are.
//
// openapi.yaml is authored by hand and is the source of truth. Package client is
// generated from it and committed; a test of this package says when it is stale.
// Lengths on the wire are in the unit that each document names.
//
// The package refuses nothing but texts that are no dates or times: whether a request
// keeps to the document is for package api to say.
package openapi

//go:generate go -C tools tool oapi-codegen -config ../oapi-codegen.yaml ../openapi.yaml
