package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

type idempotency struct{ session }

const claimColumns = "key, method, route, body_hash, token, state, created_at, locked_until, expires_at"

func claimFields(r *record.IdempotencyRecord) []any {
	return []any{&r.Key, &r.Method, &r.Route, &r.BodyHash, &r.Token, &r.State, &r.CreatedAt, &r.LockedUntil, &r.ExpiresAt}
}

func scanClaim(rows pgx.Rows) (r record.IdempotencyRecord, err error) {
	err = rows.Scan(claimFields(&r)...)
	inUTC(&r.CreatedAt, &r.LockedUntil, &r.ExpiresAt)
	return r, err
}

// beginTries bounds how often Begin looks again when the record it met was gone
// by the time it read it: abandoned or swept in between, so that the next try
// most likely claims the key.
const beginTries = 10

func (r idempotency) Begin(ctx context.Context, scope store.Scope, c record.IdempotencyClaim) (store.Begun, error) {
	what := fmt.Sprintf("claim idempotency key %q", c.Key)
	if scope == (store.Scope{}) {
		return store.Begun{}, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckClaim(c); err != nil {
		return store.Begun{}, fmt.Errorf("%s: %w", what, err)
	}
	for range beginTries {
		begun, err := r.begin(ctx, scope, c)
		if err == nil {
			return begun, nil
		}
		if !errors.Is(err, pgx.ErrNoRows) {
			return store.Begun{}, r.done(ctx, what, err)
		}
	}
	return store.Begun{}, fmt.Errorf("%s: %w: the key was claimed and let go again %d times in a row", what, store.ErrUnavailable, beginTries)
}

func (r idempotency) begin(ctx context.Context, scope store.Scope, c record.IdempotencyClaim) (store.Begun, error) {
	// One statement claims the key when it is new, expired, or held by the same
	// request past its lock. It waits for another transaction that has the row.
	var found record.IdempotencyRecord
	err := r.query(ctx, scope, one(&found, scanClaim), `insert into idempotency_keys (owner, `+claimColumns+`)
		values ($1, $2, $3, $4, $5, $6, 'running', $7, $8, $9)
		on conflict (owner, key) do update set
			method = excluded.method, route = excluded.route, body_hash = excluded.body_hash, token = excluded.token,
			state = 'running', status = null, header = null, body = null,
			created_at = excluded.created_at, locked_until = excluded.locked_until, expires_at = excluded.expires_at
		where idempotency_keys.expires_at <= excluded.created_at
		   or (idempotency_keys.state = 'running' and idempotency_keys.locked_until <= excluded.created_at
		       and idempotency_keys.method = excluded.method and idempotency_keys.route = excluded.route
		       and idempotency_keys.body_hash = excluded.body_hash)
		returning `+claimColumns,
		scope.String(), c.Key, c.Method, c.Route, c.BodyHash, c.Token,
		record.Moment(c.CreatedAt), record.Moment(c.LockedUntil), record.Moment(c.ExpiresAt))
	if err == nil {
		return store.Begun{Outcome: store.Fresh, Record: found}, nil
	}
	if !errors.Is(err, pgx.ErrNoRows) {
		return store.Begun{}, err
	}
	var status *int
	var header *string
	var body []byte
	err = r.query(ctx, scope, one(&found, func(rows pgx.Rows) (f record.IdempotencyRecord, err error) {
		err = rows.Scan(append(claimFields(&f), &status, &header, &body)...)
		inUTC(&f.CreatedAt, &f.LockedUntil, &f.ExpiresAt)
		return f, err
	}), "select "+claimColumns+", status, header, body from idempotency_keys where owner = $1::text and key = $2::text", scope.String(), c.Key)
	if err != nil {
		return store.Begun{}, err
	}
	if status == nil || header == nil {
		return store.Judge(found, c, 0, "", nil)
	}
	return store.Judge(found, c, *status, *header, body)
}

func (r idempotency) Finish(ctx context.Context, scope store.Scope, key string, token uuid.UUID, a record.Answer) error {
	what := fmt.Sprintf("finish idempotency key %q", key)
	header, err := json.Marshal(a.Header)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	body := a.Body
	if body == nil {
		body = []byte{}
	}
	n, err := exec(ctx, r, scope, `update idempotency_keys set state = 'done', status = $1::integer, header = $2::text, body = $3::bytea
		where owner = $4::text and key = $5::text and token = $6::uuid and state = 'running'`,
		a.Status, string(header), body, scope.String(), key, token)
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r idempotency) Abandon(ctx context.Context, scope store.Scope, key string, token uuid.UUID) error {
	_, err := exec(ctx, r, scope, "delete from idempotency_keys where owner = $1::text and key = $2::text and token = $3::uuid and state = 'running'",
		scope.String(), key, token)
	return r.done(ctx, fmt.Sprintf("abandon idempotency key %q", key), err)
}

func (r idempotency) Sweep(ctx context.Context, now time.Time, limit int) (int, error) {
	// Rows that another transaction holds are left for the next sweep.
	n, err := exec(ctx, r, store.ShopScope(), `delete from idempotency_keys where (owner, key) in
		(select owner, key from idempotency_keys where expires_at <= $1::timestamptz order by expires_at limit $2::bigint for update skip locked)`,
		record.Moment(now), max(limit, 0))
	return int(n), r.done(ctx, "sweep idempotency keys", err)
}
