// Package postgres keeps everything in PostgreSQL 15 or newer: the store for
// several copies of the service, or for a shop that runs a database anyway.
//
// # Ownership
//
// Row-level security stands behind the queries' own conditions on every table
// that has owners. Each transaction first says whose records it may touch (the
// setting hatchwright.scope), in the same round trip as its first statement. The
// policies are forced, so that they bind the tables' owner too. They do not bind
// a superuser or a role with BYPASSRLS; when the connection's role is one,
// Migrate makes the role hatchwright_app without such rights, and transactions
// take it on. So a forgotten condition in a query leaks nothing.
//
// # Poolers
//
// Settings, role and time-outs are local to each transaction and no statement
// relies on a session, so that a transaction pooler may stand in front; give it
// default_query_exec_mode=simple_protocol in the URL if it does not carry
// prepared statements. Only Migrate needs a session of its own (it holds an
// advisory lock): run it past the pooler.
//
// # Isolation
//
// Transactions are READ COMMITTED. Where several may race for the same thing, one
// statement decides (a unique key, a conditional update).
package postgres
