package postgres

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type keys struct{ session }

func (r keys) Insert(ctx context.Context, scope store.Scope, k record.Key) error {
	what := fmt.Sprintf("insert key %q", k.Name)
	if err := store.Admit(what, scope.Covers(k.DealerID), store.CheckKey(k)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r, scope, table.Keys, &k))
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
	statement, args, err := inserting(table.Keys, &k, " and not exists (select 1 from api_keys where role = 'shop')", "", nil)
	if err != nil {
		return false, fmt.Errorf("%s: %w", what, err)
	}
	var a added
	err = r.locking(ctx, store.ShopScope(), "lock table api_keys in share row exclusive mode", one(&a, scanAdded), statement, args...)
	return a.rows == 1, r.done(ctx, what, err)
}

func (r keys) ByHash(ctx context.Context, hash []byte) (k record.Key, err error) {
	k, err = find(ctx, r, store.ShopScope(), table.Keys, narrow().Add("hash = ?", hash), "")
	return k, r.done(ctx, "find key by its hash", err)
}

func (r keys) List(ctx context.Context, scope store.Scope, f store.KeyFilter, page store.Page) (store.Listing[record.Key], error) {
	where := table.NarrowKeys(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r, scope, table.Keys, where, page, f.Place(scope))
}

func (r keys) Revoke(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (k record.Key, err error) {
	where := narrow(at).Owned(scope, "dealer_id").Add("id = ?", id)
	err = r.query(ctx, scope, one(&k, scanRow(table.Keys)),
		"update api_keys set revoked_at = coalesce(revoked_at, $1::timestamptz)"+where.String()+" returning "+table.Keys.List, where.Args...)
	return k, r.done(ctx, fmt.Sprintf("revoke key %v", id), err)
}

func (r keys) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (k record.Key, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	k, err = find(ctx, r, scope, table.Keys, where, "")
	return k, r.done(ctx, fmt.Sprintf("get key %v", id), err)
}

func (r keys) HoldShop(ctx context.Context) (list []record.Key, err error) {
	// Who comes second waits for the rows, in the order of their ids, and sees them as
	// the first left them.
	list, err = all(ctx, r, store.ShopScope(), table.Keys, narrow().Add("role = 'shop' and revoked_at is null"), " order by id for update")
	return list, r.done(ctx, "hold the shop keys", err)
}

func (r keys) Line(ctx context.Context, scope store.Scope, account uuid.UUID, at time.Time) (list []record.Key, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("coalesce(root_id, id) = ?", account).Add("revoked_at is null and (expires_at is null or expires_at > ?)", at)
	list, err = all(ctx, r, scope, table.Keys, where, " order by created_at, id")
	return list, r.done(ctx, fmt.Sprintf("line of key %v", account), err)
}

func (r keys) Expire(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (k record.Key, err error) {
	where := narrow(at).Owned(scope, "dealer_id").Add("id = ?", id)
	err = r.query(ctx, scope, one(&k, scanRow(table.Keys)),
		"update api_keys set expires_at = least(expires_at, $1::timestamptz)"+where.String()+" returning "+table.Keys.List, where.Args...)
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
