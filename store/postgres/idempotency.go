package postgres

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type idempotency struct{ session }

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
	// request past its lock; and not when the same request was answered before
	// callers were told apart. It waits for another transaction that has the row.
	var found record.IdempotencyRecord
	err := r.query(ctx, scope, one(&found, scanRow(table.Claims)), `insert into idempotency_keys (owner, `+table.Claims.List+`)
		select $1::text, $2::text, $3::text, $4::text, $5::text, $6::bytea, $7::uuid, 'running', $8::timestamptz, $9::timestamptz, $10::timestamptz
		where not exists (select 1 from idempotency_keys
			where owner = $1::text and caller = '' and method = $3::text and route = $4::text and key = $5::text and body_hash = $6::bytea and expires_at > $8::timestamptz)
		on conflict (owner, caller, method, route, key) do update set
			body_hash = excluded.body_hash, token = excluded.token,
			state = 'running', status = null, header = null, body = null, sealed = null,
			created_at = excluded.created_at, locked_until = excluded.locked_until, expires_at = excluded.expires_at
		where idempotency_keys.expires_at <= excluded.created_at
		   or (idempotency_keys.state = 'running' and idempotency_keys.locked_until <= excluded.created_at
		       and idempotency_keys.body_hash = excluded.body_hash)
		returning `+table.Claims.List,
		scope.String(), c.Caller, c.Method, c.Route, c.Key, c.BodyHash, c.Token,
		record.Moment(c.CreatedAt), record.Moment(c.LockedUntil), record.Moment(c.ExpiresAt))
	if err == nil {
		return store.Begun{Outcome: store.Fresh, Record: found}, nil
	}
	if !errors.Is(err, pgx.ErrNoRows) {
		return store.Begun{}, err
	}
	var status *int
	var header, sealed *string
	var body []byte
	err = r.query(ctx, scope, one(&found, func(rows pgx.Rows) (f record.IdempotencyRecord, err error) {
		return table.Claims.Scan(rows, &status, &header, &body, &sealed)
	}), "select "+table.Claims.List+`, status, header, body, sealed from idempotency_keys
		where owner = $1::text and method = $3::text and route = $4::text and key = $5::text
			and (caller = $2::text or (caller = '' and body_hash = $6::bytea and expires_at > $7::timestamptz))
		order by caller limit 1`, scope.String(), c.Caller, c.Method, c.Route, c.Key, c.BodyHash, record.Moment(c.CreatedAt))
	if err != nil {
		return store.Begun{}, err
	}
	if status == nil || header == nil {
		return store.Judge(found, c, 0, "", nil, "")
	}
	if sealed == nil {
		sealed = new(string)
	}
	return store.Judge(found, c, *status, *header, body, *sealed)
}

// held narrows to the claim that its token holds.
const held = ` where owner = $1::text and caller = $2::text and method = $3::text and route = $4::text and key = $5::text
	and token = $6::uuid and state = 'running'`

func heldBy(scope store.Scope, c record.IdempotencyClaim) []any {
	return []any{scope.String(), c.Caller, c.Method, c.Route, c.Key, c.Token}
}

func (r idempotency) Renew(ctx context.Context, scope store.Scope, c record.IdempotencyClaim, until time.Time) error {
	n, err := exec(ctx, r, scope, "update idempotency_keys set locked_until = $7::timestamptz"+held, append(heldBy(scope, c), record.Moment(until))...)
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
	body := a.Body
	if body == nil {
		body = []byte{}
	}
	var sealed *string
	if a.Sealed != "" {
		sealed = &a.Sealed
	}
	n, err := exec(ctx, r, scope, `update idempotency_keys set state = 'done', status = $7::integer, header = $8::text, body = $9::bytea, sealed = $10::text`+held,
		append(heldBy(scope, c), a.Status, string(header), body, sealed)...)
	if err == nil && n == 0 {
		err = store.ErrLostClaim
	}
	return r.done(ctx, what, err)
}

func (r idempotency) Abandon(ctx context.Context, scope store.Scope, c record.IdempotencyClaim) error {
	_, err := exec(ctx, r, scope, "delete from idempotency_keys"+held, heldBy(scope, c)...)
	return r.done(ctx, fmt.Sprintf("abandon idempotency key %q", c.Key), err)
}

func (r idempotency) Sweep(ctx context.Context, now time.Time, limit int) (int, error) {
	// Rows that another transaction holds are left for the next sweep. The rows are
	// chosen once, as an array: a join could choose anew for each row and remove more.
	n, err := exec(ctx, r, store.ShopScope(), `delete from idempotency_keys where ctid = any (array
		(select ctid from idempotency_keys where expires_at <= $1::timestamptz order by expires_at limit $2::bigint for update skip locked))`,
		record.Moment(now), max(limit, 0))
	return int(n), r.done(ctx, "sweep idempotency keys", err)
}
