package postgres

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"hatchwright/store"
)

// Limits on a transaction. A request waits for its answer, so the store gives way
// (store.ErrUnavailable) rather than hang: a statement of this service takes
// milliseconds, and a lock is held for one transaction of such statements.
const (
	statementTimeout = 15 * time.Second
	lockTimeout      = 5 * time.Second
	idleTimeout      = 30 * time.Second // between two statements of a transaction
)

// poolSize is the number of connections when the URL does not give one with
// pool_max_conns: statements are short, and 4 to 8 connections for 32 clients
// cost 10 to 50 % of the throughput that more gave.
const poolSize = 16

// Store is a PostgreSQL database. Make one with Open.
type Store struct {
	*registers
	pool   *pgxpool.Pool
	closed atomic.Bool
	role   string // taken on by every transaction, "" for the connection's own
}

var _ store.Store = (*Store)(nil)

// Open connects to the database that the URL names ("postgres://..." or the
// keyword form of libpq; pgx's parameters and PG* variables apply). The schema is
// left as it is: see Migrate.
func Open(ctx context.Context, url string) (*Store, error) {
	config, err := pgxpool.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("open PostgreSQL store: %w", err) // pgx leaves passwords out
	}
	if given, err := pgconn.ParseConfig(url); err != nil || given.RuntimeParams["pool_max_conns"] == "" {
		config.MaxConns = poolSize
	}
	return OpenConfig(ctx, config)
}

// OpenConfig is Open with a pool's configuration, for what a URL cannot say, such
// as a tracer.
func OpenConfig(ctx context.Context, config *pgxpool.Config) (*Store, error) {
	const what = "open PostgreSQL store"
	// The migrations' lock holds one connection while another migrates.
	config.MaxConns = max(config.MaxConns, 2)
	connections, err := pgxpool.NewWithConfig(ctx, config)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", what, err)
	}
	s := &Store{pool: connections}
	s.registers = &registers{pool{s}}
	var unbound bool
	err = connections.QueryRow(ctx, "select rolsuper or rolbypassrls from pg_roles where rolname = current_user").Scan(&unbound)
	if err != nil {
		err = s.fault(ctx, what, err)
		return nil, errors.Join(err, s.Close())
	}
	if unbound {
		s.role = appRole
	}
	return s, nil
}

// Ping implements store.Health.
func (s *Store) Ping(ctx context.Context) error {
	return s.fault(ctx, "ping", s.pool.Ping(ctx))
}

// Free implements store.Store. It frees none: any number of processes may be at work on
// the database.
func (s *Store) Free(ctx context.Context) (int, error) { return 0, s.Ping(ctx) }

// Close implements store.Store.
func (s *Store) Close() error {
	if !s.closed.Swap(true) {
		s.pool.Close()
	}
	return nil
}

// InTx implements store.Store.
func (s *Store) InTx(ctx context.Context, fn func(store.Tx) error) error {
	tx, err := s.pool.Begin(ctx)
	if err != nil {
		return s.fault(ctx, "begin transaction", err)
	}
	// After a commit this does nothing; after a panic it undoes the work. The
	// request may be over by then, the connection is still to be cleaned.
	defer func() { _ = tx.Rollback(context.WithoutCancel(ctx)) }()

	t := &transaction{store: s, tx: tx}
	if err := fn(&registers{t}); err != nil {
		return err
	}
	if t.failed != nil {
		return t.failed
	}
	if tx.Conn().IsClosed() {
		return s.fault(ctx, "commit transaction", pgconn.ErrConnClosed) // nothing can be sent
	}
	return s.committed(ctx, tx.Commit(ctx))
}

// committed is what a commit came to. When no answer came, or the server said no more
// than that it ends the connection, it may be done all the same. The driver's own word
// on what is safe to try again does not help: a connection that is lost before the answer
// is told by "conn closed", as one that was closed before.
func (s *Store) committed(ctx context.Context, said error) error {
	err := s.fault(ctx, "commit transaction", said)
	var coded *pgconn.PgError
	switch {
	case said == nil, errors.Is(said, pgx.ErrTxClosed), errors.Is(said, pgx.ErrTxCommitRollback):
		return err
	case errors.As(said, &coded) && !strings.HasPrefix(coded.Code, "57P") && !strings.HasPrefix(coded.Code, "08"): // operator, connection
		return err
	}
	return fmt.Errorf("%w: %w", store.ErrInDoubt, err)
}

// registers are the tables, on their own or within a transaction.
type registers struct{ session }

func (r *registers) Dealers() store.Dealers               { return dealers{r} }
func (r *registers) Keys() store.Keys                     { return keys{r} }
func (r *registers) Configurations() store.Configurations { return configurations{r} }
func (r *registers) ShopDocuments() store.ShopDocuments   { return shopDocuments{r} }
func (r *registers) Idempotency() store.Idempotency       { return idempotency{r} }
