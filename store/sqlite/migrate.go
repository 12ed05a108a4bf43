package sqlite

import (
	"context"
	"embed"
	"fmt"
	"io/fs"
	"time"

	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var embedded embed.FS

// migrationWait is how long a migration waits for another process's. Migrations of a
// large file may take a while; a minute is beyond any seen.
const migrationWait = time.Minute

// lockSuffix is what the name of the file ends with whose lock keeps other processes from
// migrating at the same time. A lock inside the store's own file would end with each
// migration's own transaction.
const lockSuffix = ".migrating"

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
