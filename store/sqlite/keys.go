package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type keys struct{ *registers }

func (r keys) Insert(ctx context.Context, scope store.Scope, k record.Key) error {
	what := fmt.Sprintf("insert key %q", k.Name)
	if err := store.Admit(what, scope.Covers(k.DealerID), store.CheckKey(k)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r.write, table.Keys, &k))
}

func (r keys) InsertFirst(ctx context.Context, k record.Key) (bool, error) {
	const what = "insert the first shop key"
	if err := store.CheckKey(k); err != nil {
		return false, fmt.Errorf("%s: %w", what, err)
	}
	if k.Role != record.RoleShop {
		return false, fmt.Errorf("%s: %w: its role is %q", what, store.ErrInvalid, k.Role)
	}
	n, err := insertWhere(ctx, r.write, table.Keys, &k, " and not exists (select 1 from api_keys where role = 'shop')")
	return n == 1, r.done(ctx, what, err)
}

func (r keys) ByHash(ctx context.Context, hash []byte) (record.Key, error) {
	k, err := find(ctx, r.read, table.Keys, narrow().Add("hash = ?", notNil(hash)), "")
	return k, r.done(ctx, "find key by its hash", err)
}

func (r keys) List(ctx context.Context, scope store.Scope, f store.KeyFilter, page store.Page) (store.Listing[record.Key], error) {
	where := table.NarrowKeys(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r.registers, table.Keys, where, page, f.Place(scope))
}

func (r keys) Revoke(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Key, error) {
	where := narrow(at).Owned(scope, "dealer_id").Add("id = ?", id)
	k, err := table.Keys.Scan(r.write.QueryRowContext(ctx, "update api_keys set revoked_at = coalesce(revoked_at, ?)"+where.String()+" returning "+table.Keys.List, where.Args...))
	return k, r.done(ctx, fmt.Sprintf("revoke key %v", id), err)
}

func (r keys) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Key, error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	k, err := find(ctx, r.read, table.Keys, where, "")
	return k, r.done(ctx, fmt.Sprintf("get key %v", id), err)
}

func (r keys) HoldShop(ctx context.Context) ([]record.Key, error) {
	// A transaction holds the one writer from its beginning.
	list, err := all(ctx, r.read, table.Keys, narrow().Add("role = 'shop' and revoked_at is null"), " order by id")
	return list, r.done(ctx, "hold the shop keys", err)
}

func (r keys) Line(ctx context.Context, scope store.Scope, account uuid.UUID, at time.Time) ([]record.Key, error) {
	where := narrow().Owned(scope, "dealer_id").Add("coalesce(root_id, id) = ?", account).Add("revoked_at is null and (expires_at is null or expires_at > ?)", at)
	list, err := all(ctx, r.read, table.Keys, where, " order by created_at, id")
	return list, r.done(ctx, fmt.Sprintf("line of key %v", account), err)
}

func (r keys) Expire(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Key, error) {
	where := narrow(at).Owned(scope, "dealer_id").Add("id = ?", id)
	k, err := table.Keys.Scan(r.write.QueryRowContext(ctx, "update api_keys set expires_at = min(coalesce(expires_at, ?1), ?1)"+where.String()+" returning "+table.Keys.List, where.Args...))
	return k, r.done(ctx, fmt.Sprintf("end key %v", id), err)
}

func (r keys) Spend(ctx context.Context, id uuid.UUID, day string, units int) (spent int, taken bool, err error) {
	what := fmt.Sprintf("spend units of key %v", id)
	err = r.write.QueryRowContext(ctx, `update api_keys as a
		set spent = case when a.spent_on < ?2 then 0 else a.spent end + ?3, spent_on = max(a.spent_on, ?2)
		from api_keys as k
		where k.id = ?1 and a.id = coalesce(k.root_id, k.id)
			and (k.quota is null or case when a.spent_on < ?2 then 0 else a.spent end + ?3 <= k.quota)
		returning spent`, id, day, units).Scan(&spent)
	if !errors.Is(err, sql.ErrNoRows) {
		return spent, err == nil, r.done(ctx, what, err)
	}
	err = r.write.QueryRowContext(ctx, `select case when a.spent_on < ?2 then 0 else a.spent end
		from api_keys as k join api_keys as a on a.id = coalesce(k.root_id, k.id) where k.id = ?1`, id, day).Scan(&spent)
	return spent, false, r.done(ctx, what, err)
}

func (r keys) TouchLastUsed(ctx context.Context, id uuid.UUID, at time.Time) error {
	what := fmt.Sprintf("note the use of key %v", id)
	n, err := affected(r.write.ExecContext(ctx, "update api_keys set last_used_at = max(coalesce(last_used_at, 0), ?) where id = ?", millis(at), id))
	if err == nil && n == 0 {
		err = store.ErrNotFound
	}
	return r.done(ctx, what, err)
}

// notNil is b, or an empty slice for a nil one, which would be taken for null.
func notNil(b []byte) []byte {
	if b == nil {
		return []byte{}
	}
	return b
}
