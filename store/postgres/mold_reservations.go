package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

func (r molds) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (m record.Mold, reserved int, err error) {
	what := fmt.Sprintf("hold mold %v", id)
	where := narrow().ShopOnly(scope).Add("id = ?", id)
	if m, err = find(ctx, r, scope, table.Molds, where, " for update"); err == nil {
		// A statement of its own: it sees what was committed before the mold was got.
		err = r.query(ctx, scope, one(&reserved, func(rows pgx.Rows) (n int, err error) { return n, rows.Scan(&n) }),
			"select coalesce(sum(pulls), 0)::integer from mold_reservations where mold_id = $1::uuid and pulls > 0", id)
	}
	return m, reserved, r.done(ctx, what, err)
}

func (r molds) Reserve(ctx context.Context, scope store.Scope, v record.MoldReservation) error {
	what := fmt.Sprintf("reserve mold %v for order %v", v.MoldID, v.OrderID)
	if err := store.Admit(what, scope.Whole(), store.CheckMoldReservation(v)); err != nil {
		return err
	}
	// The foreign keys are asked first: their refusal would end a transaction.
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select exists (select 1 from orders where id = $1::uuid) and exists (select 1 from molds where id = $2::uuid) as there
		), changed as (
			update mold_reservations set pulls = pulls + $3::integer, taken = taken + $4::integer where order_id = $1::uuid and mold_id = $2::uuid
			returning order_id
		), fresh as (
			insert into mold_reservations (order_id, mold_id, pulls, taken)
			select $1::uuid, $2::uuid, $3::integer, $4::integer from owner where owner.there and not exists (select 1 from changed)
			returning order_id
		)
		select owner.there, (select count(*) from changed) + (select count(*) from fresh) from owner`, v.OrderID, v.MoldID, v.Pulls, v.Taken)
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r molds) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) (items []record.MoldReservation, err error) {
	where := narrow().ShopOnly(scope).Add("(pulls > 0 or taken > 0)").If("order_id = ?", order)
	items, err = all(ctx, r, scope, table.MoldReservations, where, " order by order_id, mold_id")
	return items, r.done(ctx, "list reservations of molds", err)
}

func (r molds) Reserved(ctx context.Context, scope store.Scope, molds []uuid.UUID) (map[uuid.UUID]int, error) {
	where := narrow().ShopOnly(scope).Add("pulls > 0")
	ids := make([]string, len(molds)) // as text, which the simple protocol can send
	for i, m := range molds {
		ids[i] = m.String()
	}
	where.Add("mold_id = any(?::text[]::uuid[])", ids)
	var items []record.MoldReservation
	err := r.query(ctx, scope, every(&items, func(rows pgx.Rows) (v record.MoldReservation, err error) {
		return v, rows.Scan(&v.MoldID, &v.Pulls)
	}), "select mold_id, sum(pulls)::integer from mold_reservations"+where.String()+" group by mold_id", where.Args...)
	out := make(map[uuid.UUID]int, len(items))
	for _, v := range items {
		out[v.MoldID] = v.Pulls
	}
	return out, r.done(ctx, "sum reservations of molds", err)
}
