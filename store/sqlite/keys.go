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
)

type keys struct{ *registers }

// keyInsert are the columns that a new key brings, keyColumns those of a key.
const (
	keyInsert  = "id, dealer_id, role, name, hash, prefix, created_at, expires_at, revoked_at, last_used_at, quota, rotated_from, root_id"
	keyColumns = keyInsert + `, (select s.id from api_keys s where s.rotated_from = api_keys.id) as rotated_to,
		(select r.spent from api_keys r where r.id = coalesce(api_keys.root_id, api_keys.id)) as account_spent,
		(select r.spent_on from api_keys r where r.id = coalesce(api_keys.root_id, api_keys.id)) as account_spent_on`
)

func scanKey(r row) (k record.Key, err error) {
	var quota sql.NullInt64
	err = r.Scan(&k.ID, &k.DealerID, &k.Role, &k.Name, &k.Hash, &k.Prefix,
		stamp{&k.CreatedAt}, stampOrNull{&k.ExpiresAt}, stampOrNull{&k.RevokedAt}, stampOrNull{&k.LastUsedAt},
		&quota, &k.RotatedFrom, &k.Root, &k.RotatedTo, &k.Spent, &k.SpentOn)
	k.Quota = int(quota.Int64)
	return k, err
}

func keyArgs(k record.Key) []any {
	return []any{k.ID.String(), idOrNull(k.DealerID), string(k.Role), k.Name, k.Hash, k.Prefix,
		millis(k.CreatedAt), millisOrNull(k.ExpiresAt), millisOrNull(k.RevokedAt), millisOrNull(k.LastUsedAt),
		sql.NullInt64{Int64: int64(k.Quota), Valid: k.Quota > 0}, idOrNull(k.RotatedFrom), idOrNull(k.Root)}
}

func (r keys) Insert(ctx context.Context, scope store.Scope, k record.Key) error {
	what := fmt.Sprintf("insert key %q", k.Name)
	if !scope.Covers(k.DealerID) {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckKey(k); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	_, err := r.write.ExecContext(ctx, "insert into api_keys ("+keyInsert+") values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", keyArgs(k)...)
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
	n, err := affected(r.write.ExecContext(ctx, "insert into api_keys ("+keyInsert+`)
		select ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ? where not exists (select 1 from api_keys where role = 'shop')`, keyArgs(k)...))
	return n == 1, r.done(ctx, what, err)
}

func (r keys) ByHash(ctx context.Context, hash []byte) (record.Key, error) {
	k, err := scanKey(r.read.QueryRowContext(ctx, "select "+keyColumns+" from api_keys where hash = ?", notNil(hash)))
	return k, r.done(ctx, "find key by its hash", err)
}

func (r keys) List(ctx context.Context, scope store.Scope, f store.KeyFilter, page store.Page) (store.Listing[record.Key], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = ?", f.DealerID.String())
	}
	if f.Role != "" {
		where.add("role = ?", string(f.Role))
	}
	return list(ctx, r.registers, "keys", "select "+keyColumns+" from api_keys", where, page, f.Place(scope), scanKey,
		func(k record.Key) store.Position { return store.Position{CreatedAt: k.CreatedAt, ID: k.ID} })
}

func (r keys) Revoke(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Key, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	k, err := scanKey(r.write.QueryRowContext(ctx,
		"update api_keys set revoked_at = coalesce(revoked_at, ?)"+where.String()+" returning "+keyColumns,
		append([]any{millis(at)}, where.args...)...))
	return k, r.done(ctx, fmt.Sprintf("revoke key %v", id), err)
}

func (r keys) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Key, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	k, err := scanKey(r.read.QueryRowContext(ctx, "select "+keyColumns+" from api_keys"+where.String(), where.args...))
	return k, r.done(ctx, fmt.Sprintf("get key %v", id), err)
}

func (r keys) HoldShop(ctx context.Context) ([]record.Key, error) {
	// A transaction holds the one writer from its beginning.
	list, err := collect(ctx, r.read, "select "+keyColumns+" from api_keys where role = 'shop' and revoked_at is null order by id", nil, scanKey)
	return list, r.done(ctx, "hold the shop keys", err)
}

func (r keys) Line(ctx context.Context, scope store.Scope, account uuid.UUID, at time.Time) ([]record.Key, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("coalesce(root_id, id) = ?", account.String())
	where.add("revoked_at is null and (expires_at is null or expires_at > ?)", millis(at))
	list, err := collect(ctx, r.read, "select "+keyColumns+" from api_keys"+where.String()+" order by created_at, id", where.args, scanKey)
	return list, r.done(ctx, fmt.Sprintf("line of key %v", account), err)
}

func (r keys) Expire(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Key, error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	k, err := scanKey(r.write.QueryRowContext(ctx,
		"update api_keys set expires_at = min(coalesce(expires_at, ?1), ?1)"+where.String()+" returning "+keyColumns,
		append([]any{millis(at)}, where.args...)...))
	return k, r.done(ctx, fmt.Sprintf("end key %v", id), err)
}

func (r keys) Spend(ctx context.Context, id uuid.UUID, day string, units int) (spent int, taken bool, err error) {
	what := fmt.Sprintf("spend units of key %v", id)
	err = r.write.QueryRowContext(ctx, `update api_keys as a
		set spent = case when a.spent_on < ?2 then 0 else a.spent end + ?3, spent_on = max(a.spent_on, ?2)
		from api_keys as k
		where k.id = ?1 and a.id = coalesce(k.root_id, k.id)
			and (k.quota is null or case when a.spent_on < ?2 then 0 else a.spent end + ?3 <= k.quota)
		returning spent`, id.String(), day, units).Scan(&spent)
	if !errors.Is(err, sql.ErrNoRows) {
		return spent, err == nil, r.done(ctx, what, err)
	}
	err = r.write.QueryRowContext(ctx, `select case when a.spent_on < ?2 then 0 else a.spent end
		from api_keys as k join api_keys as a on a.id = coalesce(k.root_id, k.id) where k.id = ?1`, id.String(), day).Scan(&spent)
	return spent, false, r.done(ctx, what, err)
}

func (r keys) TouchLastUsed(ctx context.Context, id uuid.UUID, at time.Time) error {
	what := fmt.Sprintf("note the use of key %v", id)
	n, err := affected(r.write.ExecContext(ctx, "update api_keys set last_used_at = max(coalesce(last_used_at, 0), ?) where id = ?", millis(at), id.String()))
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
