// Package service holds the use cases, one file for each. It owns transactions,
// ids, the clock and the random source; what it hands inward is pure, what it
// keeps goes through package store.
//
// Every use case that touches what someone owns takes a Caller and asks the store
// within that caller's scope: another dealer's record is not there, whoever asks
// for it by id. Roles are checked by the use case too, not only by the route.
//
// Errors are *fault.Error, or *NotMakeableError for a configuration that cannot
// be made. A failed use case leaves nothing half written.
//
// Units: the domain's own, millimeters, degrees, kilograms, hours.
package service
