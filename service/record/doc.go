// Package record holds the things the service keeps: dealers, API keys, stored
// configurations, the shop's own versioned documents and the answers kept for
// idempotent requests.
//
// These are the domain's own shapes; a store scans its rows straight into them.
// The package does no input or output and refuses nothing: whether a record may
// be written is for the use case (service) and for the store (uniqueness,
// ownership) to say.
//
// Ids are version 7 UUIDs and times are UTC with a resolution of one millisecond
// (see Moment); both are made by the service, never by a database.
//
// Who owns what: DealerID names the dealer that owns a record; nil means the
// shop's own, which belongs to no dealer.
package record
