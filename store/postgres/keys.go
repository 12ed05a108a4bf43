package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

type keys struct{ session }

const keyColumns = "id, dealer_id, role, name, hash, prefix, created_at, expires_at, revoked_at, last_used_at"

func scanKey(r pgx.Rows) (k record.Key, err error) {
	err = r.Scan(&k.ID, &k.DealerID, &k.Role, &k.Name, &k.Hash, &k.Prefix, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsedAt)
	inUTC(&k.CreatedAt, k.ExpiresAt, k.RevokedAt, k.LastUsedAt)
	return k, err
}

// insertKey is an insert of one key where further holds. The outcome tells
// whether its dealer is there and how many rows were added.
func insertKey(further string) string {
	return `with owner as (
			select $2::uuid is null or exists (select 1 from dealers where id = $2::uuid) as there
		), added as (
			insert into api_keys (` + keyColumns + `)
			select $1::uuid, $2::uuid, $3::text, $4::text, $5::bytea, $6::text, $7::timestamptz, $8::timestamptz, $9::timestamptz, $10::timestamptz
			from owner where owner.there` + further + `
			on conflict do nothing
			returning 1
		)
		select owner.there, (select count(*) from added) from owner`
}

func keyArgs(k record.Key) []any {
	return []any{k.ID, k.DealerID, string(k.Role), k.Name, k.Hash, k.Prefix,
		record.Moment(k.CreatedAt), momentOrNil(k.ExpiresAt), momentOrNil(k.RevokedAt), momentOrNil(k.LastUsedAt)}
}

// added is what an insert with conditions did.
type added struct {
	allowed bool // what it refers to is there
	rows    int64
}

func scanAdded(r pgx.Rows) (a added, err error) {
	err = r.Scan(&a.allowed, &a.rows)
	return a, err
}

func (a added) err() error {
	switch {
	case !a.allowed:
		return store.ErrNotFound
	case a.rows == 0:
		return store.ErrConflict
	}
	return nil
}

func (r keys) Insert(ctx context.Context, scope store.Scope, k record.Key) error {
	what := fmt.Sprintf("insert key %q", k.Name)
	if !scope.Covers(k.DealerID) {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckKey(k); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), insertKey(""), keyArgs(k)...)
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r keys) InsertFirst(ctx context.Context, k record.Key) (bool, error) {
	const what = "insert the first shop key"
	if err := store.CheckKey(k); err != nil {
		return false, fmt.Errorf("%s: %w", what, err)
	}
	if k.Role != record.RoleShop {
		return false, fmt.Errorf("%s: %w: its role is %q", what, store.ErrInvalid, k.Role)
	}
	// The lock keeps out other writers, not readers, and the statement after it
	// sees what they committed.
	var a added
	err := r.locking(ctx, store.ShopScope(), "lock table api_keys in share row exclusive mode", one(&a, scanAdded),
		insertKey(" and not exists (select 1 from api_keys where role = 'shop')"), keyArgs(k)...)
	return a.rows == 1, r.done(ctx, what, err)
}

func (r keys) ByHash(ctx context.Context, hash []byte) (k record.Key, err error) {
	err = r.query(ctx, store.ShopScope(), one(&k, scanKey), "select "+keyColumns+" from api_keys where hash = $1::bytea", hash)
	return k, r.done(ctx, "find key by its hash", err)
}

func (r keys) List(ctx context.Context, scope store.Scope, f store.KeyFilter, page store.Page) (store.Listing[record.Key], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = $?::uuid", *f.DealerID)
	}
	if f.Role != "" {
		where.add("role = $?::text", string(f.Role))
	}
	return list(ctx, r, "keys", scope, "select "+keyColumns+" from api_keys", where, page, f.Place(scope), scanKey,
		func(k record.Key) store.Position { return store.Position{CreatedAt: k.CreatedAt, ID: k.ID} })
}

func (r keys) Revoke(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (k record.Key, err error) {
	set := new(conditions)
	set.args = []any{record.Moment(at)}
	set.owned(scope, "dealer_id")
	set.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&k, scanKey),
		"update api_keys set revoked_at = coalesce(revoked_at, $1::timestamptz)"+set.String()+" returning "+keyColumns, set.args...)
	return k, r.done(ctx, fmt.Sprintf("revoke key %v", id), err)
}

func (r keys) TouchLastUsed(ctx context.Context, id uuid.UUID, at time.Time) error {
	n, err := exec(ctx, r, store.ShopScope(), "update api_keys set last_used_at = greatest(last_used_at, $2::timestamptz) where id = $1::uuid", id, record.Moment(at))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("note the use of key %v", id), err)
}
