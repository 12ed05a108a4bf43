// Package table is what the two engines have alike: for each kind of record its table,
// with each column, its type and its place in the record on one line, what it refers to
// and what of it may be changed; the terms that a filter comes to; and the writing of
// inserts, updates and conditions in an engine's dialect. The engines keep what differs:
// connections, locks, transactions, errors, and every statement that is more than one
// table's rows.
//
// A new column is one line here and one statement in a migration of each engine.
package table
