package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// presence is a shared lock on an empty file beside the store, held for as long as the
// store is open. It ends with the process at the latest, so whoever gets the exclusive
// one knows that no other process has the store open.
type presence struct {
	path string

	mu    sync.Mutex
	db    *sql.DB
	tx    *sql.Tx // holds the lock
	asked bool
}

// announce takes the lock. It waits for a process that has it for itself.
func announce(path string) (*presence, error) {
	p := &presence{path: path}
	db, err := sql.Open("sqlite", fileURL(path)+fmt.Sprintf("?_pragma=busy_timeout(%d)", busyMilliseconds))
	if err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(1)
	p.db = db
	if err := p.take(); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return p, nil
}

func (p *presence) take() error {
	// For as long as the store is open, whatever becomes of who opened it.
	tx, err := p.db.BeginTx(context.Background(), nil)
	if err != nil {
		return err
	}
	var n int
	if err := tx.QueryRow("select count(*) from sqlite_schema").Scan(&n); err != nil { // a read takes the lock
		return errors.Join(err, tx.Rollback())
	}
	p.tx = tx
	return nil
}

// alone runs fn while no other process has the store open, the first time that it is
// asked; else it does nothing.
func (p *presence) alone(ctx context.Context, fn func() error) (err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.asked || p.tx == nil {
		return nil
	}
	db, err := sql.Open("sqlite", fileURL(p.path)+"?_txlock=exclusive&_pragma=busy_timeout(0)")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	// Between the two locks another process may come and go: it frees what is left
	// behind, and this one has claimed nothing yet.
	if err := p.tx.Rollback(); err != nil {
		return err
	}
	p.tx, p.asked = nil, true
	defer func() { err = errors.Join(err, p.take()) }()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		var coded *sqlite.Error
		if errors.As(err, &coded) && coded.Code()&0xff == sqlite3.SQLITE_BUSY {
			return nil // somebody has it
		}
		return err
	}
	defer func() { _ = tx.Rollback() }()
	return fn()
}

func (p *presence) leave() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	var err error
	if p.tx != nil {
		err = p.tx.Rollback()
		p.tx = nil
	}
	return errors.Join(err, p.db.Close())
}
