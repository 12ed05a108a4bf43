package postgres

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"hatchwright/store"
)

// fault wraps what the driver said in the sentinel that it means, by SQLSTATE
// (PostgreSQL documentation, appendix A), never by its text.
func (s *Store) fault(ctx context.Context, what string, err error) error {
	if err == nil {
		return nil
	}
	if cause := ctx.Err(); cause != nil {
		return fmt.Errorf("%s: %w", what, cause)
	}
	if errors.Is(err, pgx.ErrNoRows) {
		return fmt.Errorf("%s: %w", what, store.ErrNotFound)
	}
	if sentinel := s.meaning(err); sentinel != nil {
		return fmt.Errorf("%s: %w: %w", what, sentinel, err)
	}
	return fmt.Errorf("%s: %w", what, err)
}

func (s *Store) meaning(err error) error {
	var coded *pgconn.PgError
	if errors.As(err, &coded) {
		switch coded.Code {
		case "23505": // unique_violation
			return store.ErrConflict
		case "23503": // foreign_key_violation
			return store.ErrNotFound
		case "23514", "23502", // check_violation, not_null_violation
			"22001", "22003", "22008", "22021", // too long, out of range, such a time, such a byte
			"55000": // the trigger that keeps records from changing
			return store.ErrInvalid
		case "42501": // insufficient_privilege, which a policy's check says too
			return store.ErrOutOfScope
		case "40001", "40P01", "55P03", "57014", // serialization, deadlock, lock time-out, statement time-out
			"25P03", "25P04": // idle and whole-transaction time-outs
			return store.ErrUnavailable
		}
		switch coded.Code[:min(2, len(coded.Code))] {
		case "08", "53", "57", "58": // connection, resources, operator, system
			return store.ErrUnavailable
		}
		return nil
	}
	var dial *pgconn.ConnectError
	var network net.Error
	if s.closed.Load() || errors.As(err, &dial) || errors.As(err, &network) || pgconn.SafeToRetry(err) ||
		errors.Is(err, pgconn.ErrConnClosed) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return store.ErrUnavailable
	}
	return nil
}
