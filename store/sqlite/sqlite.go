package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"path/filepath"
	"runtime"
	"sync/atomic"

	_ "modernc.org/sqlite" // the driver "sqlite"

	"hatchwright/store"
)

// busyMilliseconds is how long a connection waits for a lock that another process
// holds. Within this process writers queue for the one connection and never meet
// a lock.
const busyMilliseconds = 10000

// Store is a SQLite file. Make one with Open.
type Store struct {
	*registers
	path     string
	reader   *sql.DB
	writer   *sql.DB
	presence *presence
	notes    []string
	closed   atomic.Bool
}

var _ store.Store = (*Store)(nil)

// Open opens the file at path, making it if it is not there; its folder must
// exist. No other user can read it: a file that one could is narrowed, see Notes. The
// schema is left as it is: see Migrate.
func Open(ctx context.Context, path string) (*Store, error) {
	if path == "" {
		return nil, errors.New("open SQLite store: the path of the file is empty")
	}
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("open SQLite store %q: %w", path, err)
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real // its locks are beside it, by whatever name it is opened
	}
	s := &Store{path: path}
	if s.notes, err = makeFiles(path); err != nil {
		return nil, fmt.Errorf("open SQLite store %q: %w", path, err)
	}
	if s.writer, err = sql.Open("sqlite", dsn(path, "_txlock=immediate", "_pragma=secure_delete(1)")); err != nil {
		return nil, fmt.Errorf("open SQLite store %q: %w", path, err)
	}
	s.writer.SetMaxOpenConns(1)
	s.writer.SetMaxIdleConns(1)
	if s.reader, err = sql.Open("sqlite", dsn(path, "_txlock=deferred", "_pragma=query_only(1)")); err != nil {
		return nil, errors.Join(fmt.Errorf("open SQLite store %q: %w", path, err), s.writer.Close())
	}
	// Readers are bound by the processor: more of them than cores only queue
	// elsewhere. The least of 4 lets a slow reader not hold up the others.
	readers := max(4, runtime.GOMAXPROCS(0))
	s.reader.SetMaxOpenConns(readers)
	s.reader.SetMaxIdleConns(readers)
	s.registers = &registers{store: s, read: s.reader, write: s.writer}

	// The writer goes first, so that the file is there and in write-ahead mode
	// before anyone reads.
	if err := s.fault(ctx, fmt.Sprintf("open SQLite store %q", path), s.writer.PingContext(ctx)); err != nil {
		return nil, errors.Join(err, s.Close())
	}
	if s.presence, err = announce(path + openSuffix); err != nil {
		return nil, errors.Join(s.fault(ctx, fmt.Sprintf("open SQLite store %q", path), err), s.Close())
	}
	return s, nil
}

// Notes say which files others could read when the store was opened, and whether they
// still can.
func (s *Store) Notes() []string { return s.notes }

// dsn names the file for the driver with what every connection sets.
func dsn(path string, more ...string) string {
	text := fileURL(path) + fmt.Sprintf("?_pragma=busy_timeout(%d)&_pragma=journal_mode(WAL)&_pragma=synchronous(FULL)&_pragma=foreign_keys(1)", busyMilliseconds)
	for _, m := range more {
		text += "&" + m
	}
	return text
}

// fileURL is the path as a URL, so that no character of it is taken for a
// parameter.
func fileURL(path string) string {
	u := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	return u.String()
}

// Ping implements store.Health.
func (s *Store) Ping(ctx context.Context) error {
	var one int
	return s.fault(ctx, "ping", s.reader.QueryRowContext(ctx, "select 1").Scan(&one))
}

// Free implements store.Store.
func (s *Store) Free(ctx context.Context) (freed int, err error) {
	if err := s.Ping(ctx); err != nil {
		return 0, err
	}
	err = s.presence.alone(ctx, func() error {
		return s.atomically(ctx, func(w conn) error {
			for _, statement := range []string{
				"delete from idempotency_keys where state = 'running'",
				"update webhook_deliveries set claimed_by = null, claimed_until = null where claimed_by is not null",
			} {
				n, err := affected(w.ExecContext(ctx, statement))
				if err != nil {
					return err
				}
				freed += int(n)
			}
			return nil
		})
	})
	return freed, s.fault(ctx, "free what a process left in hand", err)
}

// Scrub folds the log into the file and empties it, so that nothing that was changed
// or removed is left in either.
func (s *Store) Scrub(ctx context.Context) error {
	_, err := s.writer.ExecContext(ctx, "pragma wal_checkpoint(truncate)")
	return s.fault(ctx, "empty the log", err)
}

// Close implements store.Store.
func (s *Store) Close() error {
	if s.closed.Swap(true) {
		return nil
	}
	// The writer last: the last connection to leave folds the log into the file,
	// which a reader may not.
	err := errors.Join(s.reader.Close(), s.writer.Close())
	if s.presence != nil {
		err = errors.Join(err, s.presence.leave())
	}
	if err != nil {
		return fmt.Errorf("close SQLite store %q: %w", s.path, err)
	}
	return nil
}

// InTx implements store.Store.
func (s *Store) InTx(ctx context.Context, fn func(store.Tx) error) (err error) {
	tx, err := s.writer.BeginTx(ctx, nil)
	if err != nil {
		return s.fault(ctx, "begin transaction", err)
	}
	// After a commit this does nothing; after a panic it undoes the work.
	defer func() { _ = tx.Rollback() }()

	r := &registers{store: s, read: tx, write: tx, tx: &transaction{}}
	if err := fn(r); err != nil {
		return err
	}
	if r.tx.failed != nil {
		return r.tx.failed
	}
	return s.fault(ctx, "commit transaction", tx.Commit())
}

// conn is what runs statements: a pool or a transaction.
type conn interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

// registers are the tables, on their own or within a transaction.
type registers struct {
	store *Store
	read  conn
	write conn
	tx    *transaction // nil outside a transaction
}

// transaction remembers the first failure after which a transaction cannot be
// committed any more.
type transaction struct{ failed error }

func (r *registers) Dealers() store.Dealers               { return dealers{r} }
func (r *registers) Keys() store.Keys                     { return keys{r} }
func (r *registers) Configurations() store.Configurations { return configurations{r} }
func (r *registers) ShopDocuments() store.ShopDocuments   { return shopDocuments{r} }
func (r *registers) Idempotency() store.Idempotency       { return idempotency{r} }

// done maps what a statement said to the store's sentinels, and marks the
// transaction as one that cannot be committed when it failed for another reason
// than those a caller may go on from.
func (r *registers) done(ctx context.Context, what string, err error) error {
	if err = r.store.fault(ctx, what, err); err != nil && r.tx != nil && r.tx.failed == nil && store.Fatal(err) {
		r.tx.failed = err
	}
	return err
}

// atomically runs statements that belong together: in the transaction there is,
// or in one of their own.
func (r *registers) atomically(ctx context.Context, fn func(conn) error) error {
	if r.tx != nil {
		return fn(r.write)
	}
	tx, err := r.store.writer.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }()
	if err := fn(tx); err != nil {
		return err
	}
	return tx.Commit()
}

// affected is the number of rows that a statement changed.
func affected(result sql.Result, err error) (int64, error) {
	if err != nil {
		return 0, err
	}
	return result.RowsAffected()
}
