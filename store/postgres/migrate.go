package postgres

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"
	"github.com/pressly/goose/v3/lock"
)

//go:embed migrations/*.sql
var embedded embed.FS

// appRole is the role that transactions take on when the connection's own role is
// not bound by row-level security. It cannot log in and owns nothing.
const appRole = "hatchwright_app"

// migrationLock is the number of the advisory lock that migrators hold; any
// number does that nothing else in the database uses. It is the first bytes of
// "hatchwri" as a big-endian integer.
const migrationLock = 0x6861746368777269

// A migrator that finds the lock taken looks again every second, for five
// minutes at most.
const (
	migrationLookSeconds = 1
	migrationLooks       = 300
)

// migrations gives the migrator over connections of the pool; release them after.
func (s *Store) migrations() (provider *goose.Provider, release func() error, err error) {
	files, err := fs.Sub(embedded, "migrations")
	if err != nil {
		return nil, nil, err
	}
	locker, err := lock.NewPostgresSessionLocker(
		lock.WithLockID(migrationLock),
		lock.WithLockTimeout(migrationLookSeconds, migrationLooks))
	if err != nil {
		return nil, nil, err
	}
	db := stdlib.OpenDBFromPool(s.pool)
	provider, err = goose.NewProvider(goose.DialectPostgres, db, files, goose.WithSessionLocker(locker))
	if err != nil {
		return nil, nil, errors.Join(err, db.Close())
	}
	return provider, db.Close, nil
}

// Migrate implements store.Migrator. The role of the connection must own the
// schema, or be a superuser.
func (s *Store) Migrate(ctx context.Context) ([]int64, error) { return s.MigrateTo(ctx, 0) }

// MigrateTo is Migrate up to and including the migration of that number; 0 stands
// for the newest.
func (s *Store) MigrateTo(ctx context.Context, version int64) (applied []int64, err error) {
	const what = "migrate PostgreSQL store"
	provider, release, err := s.migrations()
	if err != nil {
		return nil, s.fault(ctx, what, err)
	}
	defer func() {
		if closing := release(); err == nil {
			err = s.fault(ctx, what, closing)
		}
	}()
	if version == 0 {
		sources := provider.ListSources()
		version = sources[len(sources)-1].Version
	}
	results, err := provider.UpTo(ctx, version)
	for _, r := range results {
		applied = append(applied, r.Source.Version)
	}
	if err == nil && s.role != "" {
		err = s.grant(ctx)
	}
	return applied, s.fault(ctx, what, err)
}

// grant makes the role that is bound by row-level security, unless it is there,
// and lets it use the tables. Roles belong to the whole server: another database's
// migration may make it at the same moment.
func (s *Store) grant(ctx context.Context) error {
	statements := []string{
		`do $$ begin
			if not exists (select 1 from pg_roles where rolname = '` + appRole + `') then
				create role ` + appRole + ` nologin nosuperuser nobypassrls;
			end if;
		exception when duplicate_object or unique_violation then null;
		end $$`,
		`do $$ begin
			execute format('grant usage on schema %I to ` + appRole + `', current_schema());
			execute format('grant select, insert, update, delete on all tables in schema %I to ` + appRole + `', current_schema());
			execute format('revoke insert, update, delete on goose_db_version from ` + appRole + `');
		end $$`,
	}
	return pgx.BeginFunc(ctx, s.pool, func(tx pgx.Tx) error {
		// Two migrators of one database would change the same privileges.
		if _, err := tx.Exec(ctx, fmt.Sprintf("select pg_advisory_xact_lock(%d)", int64(migrationLock))); err != nil {
			return err
		}
		var bound *bool
		for _, statement := range statements {
			if _, err := tx.Exec(ctx, statement); err != nil {
				return fmt.Errorf("prepare the role %s, which row-level security binds "+
					"(connect as a role without SUPERUSER and BYPASSRLS and none is needed): %w", appRole, err)
			}
		}
		err := tx.QueryRow(ctx, "select not (rolsuper or rolbypassrls) from pg_roles where rolname = $1", appRole).Scan(&bound)
		if err == nil && (bound == nil || !*bound) {
			err = fmt.Errorf("the role %s is a superuser or has BYPASSRLS: row-level security would not bind it; take that away", appRole)
		}
		return err
	})
}

// Version implements store.Migrator.
func (s *Store) Version(ctx context.Context) (current, newest int64, err error) {
	provider, release, err := s.migrations()
	if err == nil {
		current, newest, err = provider.GetVersions(ctx)
		if closing := release(); err == nil {
			err = closing
		}
	}
	return current, newest, s.fault(ctx, "read the schema's version", err)
}
