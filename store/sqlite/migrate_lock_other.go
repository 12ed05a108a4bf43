//go:build !(linux || darwin || freebsd || netbsd || openbsd || dragonfly)

package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// lockMigrations keeps other processes from migrating at the same time: an exclusive
// transaction on a second, empty file beside the store's, which ends with the process at
// the latest. The file stays; removing it could take it away from under a process that
// waits.
func (s *Store) lockMigrations(ctx context.Context) (unlock func() error, err error) {
	db, err := sql.Open("sqlite", fileURL(s.path+lockSuffix)+
		fmt.Sprintf("?_txlock=exclusive&_pragma=busy_timeout(%d)", migrationWait.Milliseconds()))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		_ = db.Close()
		return nil, err
	}
	return func() error {
		if err := tx.Rollback(); err != nil && !errors.Is(err, sql.ErrTxDone) {
			_ = db.Close()
			return err
		}
		return db.Close()
	}, nil
}
