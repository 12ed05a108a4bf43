package postgres

import (
	"context"
	"strconv"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"hatchwright/store"
)

// session runs statements within a scope.
type session interface {
	// query runs one statement as a transaction of its own, or in the one there
	// is, and hands its rows to read.
	query(ctx context.Context, scope store.Scope, read func(pgx.Rows) error, sql string, args ...any) error

	// locking runs lock and then query in one transaction: the query sees what
	// was committed before the lock was got.
	locking(ctx context.Context, scope store.Scope, lock string, read func(pgx.Rows) error, sql string, args ...any) error

	// done maps what a statement said to the store's sentinels.
	done(ctx context.Context, what string, err error) error
}

// settings makes a transaction the scope's: whom row-level security lets it see,
// the role that is bound by it, and the limits. All of it ends with the
// transaction.
const settings = `select set_config('hatchwright.scope', $1, true), set_config('role', $2, true),
	set_config('statement_timeout', $3, true), set_config('lock_timeout', $4, true),
	set_config('idle_in_transaction_session_timeout', $5, true)`

func (s *Store) settingsFor(scope store.Scope) []any {
	role := s.role
	if role == "" {
		role = "none" // as SET ROLE NONE: the connection's own
	}
	ms := func(d interface{ Milliseconds() int64 }) string { return strconv.FormatInt(d.Milliseconds(), 10) }
	return []any{scopeSetting(scope), role, ms(statementTimeout), ms(lockTimeout), ms(idleTimeout)}
}

// scopeSetting is what the policies compare with: empty, which matches no owner,
// for the scope that covers nothing.
func scopeSetting(scope store.Scope) string {
	if scope == (store.Scope{}) {
		return ""
	}
	return scope.String()
}

// pool runs every call as a transaction of its own: settings and statement go out
// together and make up one implicit transaction, in the extended protocol (one
// Sync at the end) as in the simple one (one query string).
type pool struct{ store *Store }

func (p pool) done(ctx context.Context, what string, err error) error {
	return p.store.fault(ctx, what, err)
}

func (p pool) query(ctx context.Context, scope store.Scope, read func(pgx.Rows) error, sql string, args ...any) error {
	var b pgx.Batch
	b.Queue(settings, p.store.settingsFor(scope)...)
	b.Queue(sql, args...)
	results := p.store.pool.SendBatch(ctx, &b)
	if _, err := results.Exec(); err != nil {
		_ = results.Close()
		return err
	}
	rows, err := results.Query()
	if err == nil {
		err = consume(rows, read)
	}
	// Close waits for the end of the transaction: a deferred constraint may
	// still fail it.
	if closing := results.Close(); err == nil {
		err = closing
	}
	return err
}

// locking needs an explicit transaction: LOCK refuses an implicit one.
func (p pool) locking(ctx context.Context, scope store.Scope, lock string, read func(pgx.Rows) error, sql string, args ...any) error {
	return pgx.BeginFunc(ctx, p.store.pool, func(tx pgx.Tx) error {
		t := &transaction{store: p.store, tx: tx}
		return t.locking(ctx, scope, lock, read, sql, args...)
	})
}

// transaction runs every call in one explicit transaction.
type transaction struct {
	store  *Store
	tx     pgx.Tx
	scope  *store.Scope // the one that the settings say, nil before the first
	failed error        // the first failure after which nothing can be committed
}

func (t *transaction) done(ctx context.Context, what string, err error) error {
	if err = t.store.fault(ctx, what, err); err != nil && t.failed == nil && store.Fatal(err) {
		t.failed = err
	}
	return err
}

func (t *transaction) query(ctx context.Context, scope store.Scope, read func(pgx.Rows) error, sql string, args ...any) error {
	if t.scope == nil || *t.scope != scope {
		if _, err := t.tx.Exec(ctx, settings, t.store.settingsFor(scope)...); err != nil {
			return err
		}
		t.scope = &scope
	}
	rows, err := t.tx.Query(ctx, sql, args...)
	if err != nil {
		return err
	}
	return consume(rows, read)
}

func (t *transaction) locking(ctx context.Context, scope store.Scope, lock string, read func(pgx.Rows) error, sql string, args ...any) error {
	if err := t.query(ctx, scope, nil, lock); err != nil {
		return err
	}
	return t.query(ctx, scope, read, sql, args...)
}

// consume reads the rows to their end, where an error may still come.
func consume(rows pgx.Rows, read func(pgx.Rows) error) error {
	defer rows.Close()
	if read != nil {
		if err := read(rows); err != nil {
			return err
		}
	}
	rows.Close()
	return rows.Err()
}

// exec runs a statement and tells how many rows it changed.
func exec(ctx context.Context, s session, scope store.Scope, sql string, args ...any) (int64, error) {
	var tag pgconn.CommandTag
	err := s.query(ctx, scope, func(rows pgx.Rows) error {
		rows.Close()
		tag = rows.CommandTag()
		return rows.Err()
	}, sql, args...)
	return tag.RowsAffected(), err
}

// one reads the first row; pgx.ErrNoRows when there is none.
func one[T any](into *T, scan func(pgx.Rows) (T, error)) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		if !rows.Next() {
			if err := rows.Err(); err != nil {
				return err
			}
			return pgx.ErrNoRows
		}
		var err error
		*into, err = scan(rows)
		return err
	}
}

// every reads all rows.
func every[T any](into *[]T, scan func(pgx.Rows) (T, error)) func(pgx.Rows) error {
	return func(rows pgx.Rows) error {
		*into = []T{}
		for rows.Next() {
			item, err := scan(rows)
			if err != nil {
				return err
			}
			*into = append(*into, item)
		}
		return rows.Err()
	}
}
