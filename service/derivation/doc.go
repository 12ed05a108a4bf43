// Package derivation runs everything for one configuration: it completes it,
// rules on it, solves the mends, and, when it can be made, works out molds,
// laminates, bill and lead time. It is the one function that knows them all.
//
// It is pure: the shop's documents and the start of work are inputs. Lengths are
// millimeters, masses kilograms, hours decimal hours. A configuration that cannot
// be made is no error: the result's verdict and findings say so. Errors are shop
// data that lacks what is needed (a rate, a price), named.
package derivation
