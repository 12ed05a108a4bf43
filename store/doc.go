// Package store says what the service needs kept, as interfaces by role, and how
// a store answers: sentinels, filters, pages and cursors.
//
// Two engines implement it, store/sqlite (embedded, one file) and store/postgres,
// each with its own SQL and the same migration numbers; store/storetest is the
// one suite that both pass.
//
// Rules that hold for every method of every role, so that no method repeats them:
//
//   - Safe for concurrent use, except that a Tx belongs to the function it was
//     handed to.
//   - A context that ends gives an error that matches its cause
//     (context.Canceled or context.DeadlineExceeded) and changes nothing.
//   - ErrUnavailable when the store cannot be reached, is closed, or gives way
//     under load (lock or statement time-outs, deadlock). The call may be tried
//     again; nothing of it was written, except that an answer lost on the way
//     from a remote database leaves a write's fate unknown: hence idempotency
//     keys.
//   - Times are cut to the millisecond and come back in UTC.
//   - What is out of scope is not there: reads and changes of another owner's
//     record say ErrNotFound, never that it exists. Writing a new record under an
//     owner that the scope does not cover says ErrOutOfScope.
//   - Records are refused with ErrInvalid when a constraint of the schema does
//     not hold (an unknown role, a hash of the wrong length).
//
// The package itself does no input or output.
package store
