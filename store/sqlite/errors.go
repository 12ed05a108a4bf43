package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"hatchwright/store"
)

// fault wraps what the driver said in the sentinel that it means, by SQLite's
// extended result codes (sqlite.org/rescode.html), never by its text.
func (s *Store) fault(ctx context.Context, what string, err error) error {
	if err == nil {
		return nil
	}
	if cause := ctx.Err(); cause != nil {
		return fmt.Errorf("%s: %w", what, cause)
	}
	if errors.Is(err, sql.ErrNoRows) {
		return fmt.Errorf("%s: %w", what, store.ErrNotFound)
	}
	if sentinel := s.meaning(err); sentinel != nil {
		return fmt.Errorf("%s: %w: %w", what, sentinel, err)
	}
	return fmt.Errorf("%s: %w", what, err)
}

func (s *Store) meaning(err error) error {
	var coded *sqlite.Error
	if errors.As(err, &coded) {
		switch coded.Code() {
		case sqlite3.SQLITE_CONSTRAINT_UNIQUE, sqlite3.SQLITE_CONSTRAINT_PRIMARYKEY:
			return store.ErrConflict
		case sqlite3.SQLITE_CONSTRAINT_FOREIGNKEY:
			return store.ErrNotFound
		case sqlite3.SQLITE_CONSTRAINT_CHECK, sqlite3.SQLITE_CONSTRAINT_NOTNULL,
			sqlite3.SQLITE_CONSTRAINT_DATATYPE, sqlite3.SQLITE_CONSTRAINT_TRIGGER:
			return store.ErrInvalid
		}
		switch coded.Code() & 0xff { // the primary code
		case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED, sqlite3.SQLITE_PROTOCOL, sqlite3.SQLITE_INTERRUPT,
			sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_IOERR, sqlite3.SQLITE_FULL, sqlite3.SQLITE_READONLY:
			return store.ErrUnavailable
		}
		return nil
	}
	if s.closed.Load() || errors.Is(err, sql.ErrConnDone) || errors.Is(err, driver.ErrBadConn) {
		return store.ErrUnavailable
	}
	return nil
}
