// Package order holds the rules of quotes and orders: how long a quote holds, the
// states of an order with every step between them in one table (Steps), what
// happens to operations on the floor, and the events that each step emits with
// the shape of what they carry.
//
// The table is rendered into steps.md beside this file; a test keeps the two the
// same.
//
//	received -> scheduled -> in_work -> ready -> shipped
//	    \___________\___________\ on_hold        cancelled from all but shipped
//
// Dates are local dates of the shop, ISO 8601 ("2027-03-05"); instants are UTC;
// hours are decimal person-hours. The package is pure: the time and ids are
// inputs. What it refuses comes as a *Refusal, which names a stable reason.
//
// Source of the rules: shop rule throughout.
package order
