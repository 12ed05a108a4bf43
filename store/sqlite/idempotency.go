package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

type idempotency struct{ *registers }

const claimColumns = "key, method, route, body_hash, token, state, created_at, locked_until, expires_at"

func claimFields(r *record.IdempotencyRecord) []any {
	return []any{&r.Key, &r.Method, &r.Route, &r.BodyHash, &r.Token, &r.State, stamp{&r.CreatedAt}, stamp{&r.LockedUntil}, stamp{&r.ExpiresAt}}
}

func (r idempotency) Begin(ctx context.Context, scope store.Scope, c record.IdempotencyClaim) (store.Begun, error) {
	what := fmt.Sprintf("claim idempotency key %q", c.Key)
	if scope == (store.Scope{}) {
		return store.Begun{}, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckClaim(c); err != nil {
		return store.Begun{}, fmt.Errorf("%s: %w", what, err)
	}
	var begun store.Begun
	err := r.atomically(ctx, func(w conn) error {
		// One statement claims the key when it is new, expired, or held by the
		// same request past its lock.
		var found record.IdempotencyRecord
		err := w.QueryRowContext(ctx, `insert into idempotency_keys (owner, `+claimColumns+`)
			values (?, ?, ?, ?, ?, ?, 'running', ?, ?, ?)
			on conflict (owner, key) do update set
				method = excluded.method, route = excluded.route, body_hash = excluded.body_hash, token = excluded.token,
				state = 'running', status = null, header = null, body = null,
				created_at = excluded.created_at, locked_until = excluded.locked_until, expires_at = excluded.expires_at
			where idempotency_keys.expires_at <= excluded.created_at
			   or (idempotency_keys.state = 'running' and idempotency_keys.locked_until <= excluded.created_at
			       and idempotency_keys.method = excluded.method and idempotency_keys.route = excluded.route
			       and idempotency_keys.body_hash = excluded.body_hash)
			returning `+claimColumns,
			scope.String(), c.Key, c.Method, c.Route, c.BodyHash, c.Token.String(),
			millis(c.CreatedAt), millis(c.LockedUntil), millis(c.ExpiresAt)).Scan(claimFields(&found)...)
		if err == nil {
			begun = store.Begun{Outcome: store.Fresh, Record: found}
			return nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		var status sql.NullInt64
		var header sql.NullString
		var body []byte
		err = w.QueryRowContext(ctx, "select "+claimColumns+", status, header, body from idempotency_keys where owner = ? and key = ?", scope.String(), c.Key).
			Scan(append(claimFields(&found), &status, &header, &body)...)
		if err != nil {
			return err
		}
		begun, err = store.Judge(found, c, int(status.Int64), header.String, body)
		return err
	})
	if err != nil {
		return store.Begun{}, r.done(ctx, what, err)
	}
	return begun, nil
}

func (r idempotency) Finish(ctx context.Context, scope store.Scope, key string, token uuid.UUID, a record.Answer) error {
	what := fmt.Sprintf("finish idempotency key %q", key)
	header, err := json.Marshal(a.Header)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	n, err := affected(r.write.ExecContext(ctx, `update idempotency_keys set state = 'done', status = ?, header = ?, body = ?
		where owner = ? and key = ? and token = ? and state = 'running'`,
		a.Status, string(header), notNil(a.Body), scope.String(), key, token.String()))
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r idempotency) Abandon(ctx context.Context, scope store.Scope, key string, token uuid.UUID) error {
	_, err := r.write.ExecContext(ctx, "delete from idempotency_keys where owner = ? and key = ? and token = ? and state = 'running'",
		scope.String(), key, token.String())
	return r.done(ctx, fmt.Sprintf("abandon idempotency key %q", key), err)
}

func (r idempotency) Sweep(ctx context.Context, now time.Time, limit int) (int, error) {
	n, err := affected(r.write.ExecContext(ctx, `delete from idempotency_keys where (owner, key) in
		(select owner, key from idempotency_keys where expires_at <= ? order by expires_at limit ?)`, millis(now), max(limit, 0)))
	return int(n), r.done(ctx, "sweep idempotency keys", err)
}
