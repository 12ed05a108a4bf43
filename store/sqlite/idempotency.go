package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type idempotency struct{ *registers }

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
		// same request past its lock; and not when the same request was answered
		// before callers were told apart.
		found, err := table.Claims.Scan(w.QueryRowContext(ctx, `insert into idempotency_keys (owner, `+table.Claims.List+`)
			select ?1, ?2, ?3, ?4, ?5, ?6, ?7, 'running', ?8, ?9, ?10
			where not exists (select 1 from idempotency_keys
				where owner = ?1 and caller = '' and method = ?3 and route = ?4 and key = ?5 and body_hash = ?6 and expires_at > ?8)
			on conflict (owner, caller, method, route, key) do update set
				body_hash = excluded.body_hash, token = excluded.token,
				state = 'running', status = null, header = null, body = null, sealed = null,
				created_at = excluded.created_at, locked_until = excluded.locked_until, expires_at = excluded.expires_at
			where idempotency_keys.expires_at <= excluded.created_at
			   or (idempotency_keys.state = 'running' and idempotency_keys.locked_until <= excluded.created_at
			       and idempotency_keys.body_hash = excluded.body_hash)
			returning `+table.Claims.List,
			dialect.Args(scope.String(), c.Caller, c.Method, c.Route, c.Key, c.BodyHash, c.Token, c.CreatedAt, c.LockedUntil, c.ExpiresAt)...))
		if err == nil {
			begun = store.Begun{Outcome: store.Fresh, Record: found}
			return nil
		}
		if !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		var status sql.NullInt64
		var header, sealed sql.NullString
		var body []byte
		found, err = table.Claims.Scan(w.QueryRowContext(ctx, "select "+table.Claims.List+`, status, header, body, sealed from idempotency_keys
			where owner = ?1 and method = ?3 and route = ?4 and key = ?5 and (caller = ?2 or (caller = '' and body_hash = ?6 and expires_at > ?7))
			order by caller limit 1`, scope.String(), c.Caller, c.Method, c.Route, c.Key, c.BodyHash, millis(c.CreatedAt)),
			&status, &header, &body, &sealed)
		if err != nil {
			return err
		}
		begun, err = store.Judge(found, c, int(status.Int64), header.String, body, sealed.String)
		return err
	})
	if err != nil {
		return store.Begun{}, r.done(ctx, what, err)
	}
	return begun, nil
}

// held narrows to the claim that its token holds.
const held = " where owner = ? and caller = ? and method = ? and route = ? and key = ? and token = ? and state = 'running'"

func heldBy(scope store.Scope, c record.IdempotencyClaim) []any {
	return []any{scope.String(), c.Caller, c.Method, c.Route, c.Key, c.Token.String()}
}

func (r idempotency) Renew(ctx context.Context, scope store.Scope, c record.IdempotencyClaim, until time.Time) error {
	n, err := affected(r.write.ExecContext(ctx, "update idempotency_keys set locked_until = ?"+held, append([]any{millis(until)}, heldBy(scope, c)...)...))
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, fmt.Sprintf("renew the claim of idempotency key %q", c.Key), err)
}

func (r idempotency) Finish(ctx context.Context, scope store.Scope, c record.IdempotencyClaim, a record.Answer) error {
	what := fmt.Sprintf("finish idempotency key %q", c.Key)
	header, err := json.Marshal(a.Header)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	n, err := affected(r.write.ExecContext(ctx, "update idempotency_keys set state = 'done', status = ?, header = ?, body = ?, sealed = ?"+held,
		append([]any{a.Status, string(header), notNil(a.Body), sql.NullString{String: a.Sealed, Valid: a.Sealed != ""}}, heldBy(scope, c)...)...))
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r idempotency) Abandon(ctx context.Context, scope store.Scope, c record.IdempotencyClaim) error {
	_, err := r.write.ExecContext(ctx, "delete from idempotency_keys"+held, heldBy(scope, c)...)
	return r.done(ctx, fmt.Sprintf("abandon idempotency key %q", c.Key), err)
}

func (r idempotency) Sweep(ctx context.Context, now time.Time, limit int) (int, error) {
	n, err := affected(r.write.ExecContext(ctx, `delete from idempotency_keys where rowid in
		(select rowid from idempotency_keys where expires_at <= ? order by expires_at limit ?)`, millis(now), max(limit, 0)))
	return int(n), r.done(ctx, "sweep idempotency keys", err)
}
