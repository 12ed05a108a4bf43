package sqlite

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var embedded embed.FS

// migrationWaitMilliseconds is how long a migration waits for another process's.
// Migrations of a large file may take a while; a minute is beyond any seen.
const migrationWaitMilliseconds = 60_000

func (s *Store) migrations() (*goose.Provider, error) {
	files, err := fs.Sub(embedded, "migrations")
	if err != nil {
		return nil, err
	}
	return goose.NewProvider(goose.DialectSQLite3, s.writer, files)
}

// Migrate implements store.Migrator.
func (s *Store) Migrate(ctx context.Context) ([]int64, error) {
	return s.MigrateTo(ctx, 0)
}

// MigrateTo is Migrate up to and including the migration of that number; 0 stands
// for the newest.
func (s *Store) MigrateTo(ctx context.Context, version int64) (applied []int64, err error) {
	what := fmt.Sprintf("migrate SQLite store %q", s.path)
	provider, err := s.migrations()
	if err != nil {
		return nil, s.fault(ctx, what, err)
	}
	unlock, err := s.lockMigrations(ctx)
	if err != nil {
		return nil, s.fault(ctx, what+": wait for another migration", err)
	}
	defer func() {
		if err == nil {
			err = s.fault(ctx, what, unlock())
		} else {
			_ = unlock()
		}
	}()
	if version == 0 {
		_, version, err = provider.GetVersions(ctx)
		if err != nil {
			return nil, s.fault(ctx, what, err)
		}
	}
	results, err := provider.UpTo(ctx, version)
	for _, r := range results {
		applied = append(applied, r.Source.Version)
	}
	return applied, s.fault(ctx, what, err)
}

// Version implements store.Migrator.
func (s *Store) Version(ctx context.Context) (current, newest int64, err error) {
	provider, err := s.migrations()
	if err == nil {
		current, newest, err = provider.GetVersions(ctx)
	}
	return current, newest, s.fault(ctx, "read the schema's version", err)
}

// lockMigrations keeps other processes from migrating at the same time. A lock
// inside the file itself would end with each migration's own transaction, so the
// lock is an exclusive transaction on a second, empty file beside it, which ends
// with the process at the latest. The file stays; removing it could take it away
// from under a process that waits.
func (s *Store) lockMigrations(ctx context.Context) (unlock func() error, err error) {
	db, err := sql.Open("sqlite", fileURL(s.path+".migrating")+
		fmt.Sprintf("?_txlock=exclusive&_pragma=busy_timeout(%d)", migrationWaitMilliseconds))
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
