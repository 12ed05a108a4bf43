package store

import "errors"

// Sentinels. Stores wrap them with what was attempted; match with errors.Is.
var (
	// ErrNotFound: there is no such record within the scope.
	ErrNotFound = errors.New("not found")

	// ErrConflict: the write collides with what is already stored.
	ErrConflict = errors.New("conflict")

	// ErrStaleVersion: the version that the change was based on is no longer the
	// latest.
	ErrStaleVersion = errors.New("stale version")

	// ErrOutOfScope: a write under an owner that the scope does not cover.
	ErrOutOfScope = errors.New("out of scope")

	// ErrInvalid: the record breaks a rule of the schema. A use case that checks
	// its input never sees it.
	ErrInvalid = errors.New("invalid record")

	// ErrLostClaim: an idempotency claim was taken over, finished or abandoned by
	// another attempt in the meantime. The work done under it must not be kept.
	ErrLostClaim = errors.New("claim lost to another attempt")

	// ErrCursor: a cursor that this list did not give out. Every *CursorError
	// matches it.
	ErrCursor = errors.New("invalid cursor")

	// ErrUnavailable: the store cannot be reached or gives way under load; try
	// again later.
	ErrUnavailable = errors.New("store unavailable")

	// ErrInDoubt: the store went away, or time was over, while a transaction was being
	// committed: it may have been kept or not. What went wrong is wrapped beside it.
	ErrInDoubt = errors.New("it may have been written or not")
)

// Fatal tells whether a transaction in which err came up can only be undone. It
// can go on after a record was not found, in conflict, stale, out of scope or
// refused; not after anything else, and not after its idempotency claim was lost.
func Fatal(err error) bool {
	for _, goOn := range []error{ErrNotFound, ErrConflict, ErrStaleVersion, ErrOutOfScope, ErrCursor} {
		if errors.Is(err, goOn) {
			return false
		}
	}
	return err != nil
}
