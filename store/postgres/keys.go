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

// keyInsert are the columns that a new key brings, keyColumns those of a key.
const (
	keyInsert  = "id, dealer_id, role, name, hash, prefix, created_at, expires_at, revoked_at, last_used_at, quota, rotated_from, root_id"
	keyColumns = keyInsert + `, (select s.id from api_keys s where s.rotated_from = api_keys.id) as rotated_to,
		(select r.spent from api_keys r where r.id = coalesce(api_keys.root_id, api_keys.id)) as account_spent,
		(select r.spent_on from api_keys r where r.id = coalesce(api_keys.root_id, api_keys.id)) as account_spent_on`
)

func scanKey(r pgx.Rows) (k record.Key, err error) {
	var quota *int
	err = r.Scan(&k.ID, &k.DealerID, &k.Role, &k.Name, &k.Hash, &k.Prefix, &k.CreatedAt, &k.ExpiresAt, &k.RevokedAt, &k.LastUsedAt,
		&quota, &k.RotatedFrom, &k.Root, &k.RotatedTo, &k.Spent, &k.SpentOn)
	if quota != nil {
		k.Quota = *quota
	}
	inUTC(&k.CreatedAt, k.ExpiresAt, k.RevokedAt, k.LastUsedAt)
	return k, err
}

// insertKey is an insert of one key where further holds. The outcome tells
// whether its dealer is there and how many rows were added.
func insertKey(further string) string {
	return `with owner as (
			select $2::uuid is null or exists (select 1 from dealers where id = $2::uuid) as there
		), added as (
			insert into api_keys (` + keyInsert + `)
			select $1::uuid, $2::uuid, $3::text, $4::text, $5::bytea, $6::text, $7::timestamptz, $8::timestamptz, $9::timestamptz, $10::timestamptz,
				$11::bigint, $12::uuid, $13::uuid
			from owner where owner.there` + further + `
			on conflict do nothing
			returning 1
		)
		select owner.there, (select count(*) from added) from owner`
}

func keyArgs(k record.Key) []any {
	return []any{k.ID, k.DealerID, string(k.Role), k.Name, k.Hash, k.Prefix,
		record.Moment(k.CreatedAt), momentOrNil(k.ExpiresAt), momentOrNil(k.RevokedAt), momentOrNil(k.LastUsedAt),
		quotaOrNil(k.Quota), k.RotatedFrom, k.Root}
}

// quotaOrNil is a quota as its column holds it.
func quotaOrNil(quota int) *int {
	if quota == 0 {
		return nil
	}
	return &quota
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

func (r keys) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (k record.Key, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&k, scanKey), "select "+keyColumns+" from api_keys"+where.String(), where.args...)
	return k, r.done(ctx, fmt.Sprintf("get key %v", id), err)
}

func (r keys) HoldShop(ctx context.Context) (list []record.Key, err error) {
	// Who comes second waits for the rows, in the order of their ids, and sees them as
	// the first left them.
	err = r.query(ctx, store.ShopScope(), every(&list, scanKey),
		"select "+keyColumns+" from api_keys where role = 'shop' and revoked_at is null order by id for update")
	return list, r.done(ctx, "hold the shop keys", err)
}

func (r keys) Line(ctx context.Context, scope store.Scope, account uuid.UUID, at time.Time) (list []record.Key, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("coalesce(root_id, id) = $?::uuid", account)
	where.add("revoked_at is null and (expires_at is null or expires_at > $?::timestamptz)", record.Moment(at))
	err = r.query(ctx, scope, every(&list, scanKey), "select "+keyColumns+" from api_keys"+where.String()+" order by created_at, id", where.args...)
	return list, r.done(ctx, fmt.Sprintf("line of key %v", account), err)
}

func (r keys) Expire(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (k record.Key, err error) {
	set := new(conditions)
	set.args = []any{record.Moment(at)}
	set.owned(scope, "dealer_id")
	set.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&k, scanKey),
		"update api_keys set expires_at = least(expires_at, $1::timestamptz)"+set.String()+" returning "+keyColumns, set.args...)
	return k, r.done(ctx, fmt.Sprintf("end key %v", id), err)
}

func (r keys) Spend(ctx context.Context, id uuid.UUID, day string, units int) (spent int, taken bool, err error) {
	what := fmt.Sprintf("spend units of key %v", id)
	// The row's lock makes others wait, and the condition is looked at again with
	// what they wrote.
	var after []int
	scan := func(r pgx.Rows) (n int, err error) { return n, r.Scan(&n) }
	err = r.query(ctx, store.ShopScope(), every(&after, scan), `update api_keys a
		set spent = case when a.spent_on < $2::text then 0 else a.spent end + $3::bigint, spent_on = greatest(a.spent_on, $2::text)
		from api_keys k
		where k.id = $1::uuid and a.id = coalesce(k.root_id, k.id)
			and (k.quota is null or case when a.spent_on < $2::text then 0 else a.spent end + $3::bigint <= k.quota)
		returning a.spent`, id, day, units)
	if err != nil {
		return 0, false, r.done(ctx, what, err)
	}
	if len(after) == 1 {
		return after[0], true, nil
	}
	err = r.query(ctx, store.ShopScope(), one(&spent, scan), `select case when a.spent_on < $2::text then 0 else a.spent end
		from api_keys k join api_keys a on a.id = coalesce(k.root_id, k.id) where k.id = $1::uuid`, id, day)
	return spent, false, r.done(ctx, what, err)
}

func (r keys) TouchLastUsed(ctx context.Context, id uuid.UUID, at time.Time) error {
	n, err := exec(ctx, r, store.ShopScope(), "update api_keys set last_used_at = greatest(last_used_at, $2::timestamptz) where id = $1::uuid", id, record.Moment(at))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, fmt.Sprintf("note the use of key %v", id), err)
}
