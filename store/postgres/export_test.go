package postgres

import (
	"context"
	"errors"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"hatchwright/store"
)

// Raw runs one statement within a scope as the store's own queries are run, and
// tells how many rows it returned or changed.
func Raw(ctx context.Context, s *Store, scope store.Scope, statement string) (n int64, err error) {
	if strings.HasPrefix(statement, "select") {
		err = s.query(ctx, scope, func(rows pgx.Rows) error {
			for rows.Next() {
				n++
			}
			return rows.Err()
		}, statement)
	} else {
		n, err = exec(ctx, s, scope, statement)
	}
	return n, s.done(ctx, statement, err)
}

// Pool is the store's own connections, for statements with no settings at all.
func (s *Store) Pool() *pgxpool.Pool { return s.pool }

// MigrateDown undoes every migration.
func (s *Store) MigrateDown(ctx context.Context) error {
	provider, release, err := s.migrations()
	if err != nil {
		return err
	}
	_, err = provider.DownTo(ctx, 0)
	return errors.Join(err, release())
}

// PlanOfNear is how the database would run the query of near molds, within a scope as
// it is run.
func PlanOfNear(ctx context.Context, s *Store, scope store.Scope, b store.MoldBounds) (plan string, err error) {
	query, args := nearMolds(scope, b, 100)
	err = s.query(ctx, scope, func(rows pgx.Rows) error {
		for rows.Next() {
			var line string
			if err := rows.Scan(&line); err != nil {
				return err
			}
			plan += line + "\n"
		}
		return rows.Err()
	}, "explain "+query, args...)
	return plan, err
}
