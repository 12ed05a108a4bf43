package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

func (r molds) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (m record.Mold, reserved int, err error) {
	what := fmt.Sprintf("hold mold %v", id)
	where := narrow().ShopOnly(scope).Add("id = ?", id)
	// A transaction holds the one writer from its beginning.
	if m, err = find(ctx, r.read, table.Molds, where, ""); err == nil {
		err = r.read.QueryRowContext(ctx, "select coalesce(sum(pulls), 0) from mold_reservations where mold_id = ? and pulls > 0", id).Scan(&reserved)
	}
	return m, reserved, r.done(ctx, what, err)
}

func (r molds) Reserve(ctx context.Context, scope store.Scope, v record.MoldReservation) error {
	what := fmt.Sprintf("reserve mold %v for order %v", v.MoldID, v.OrderID)
	if err := store.Admit(what, scope.Whole(), store.CheckMoldReservation(v)); err != nil {
		return err
	}
	err := r.atomically(ctx, func(w conn) error {
		_, err := w.ExecContext(ctx, "insert into mold_reservations (order_id, mold_id, pulls, taken) values (?, ?, 0, 0) on conflict (order_id, mold_id) do nothing",
			v.OrderID, v.MoldID)
		if err == nil {
			_, err = w.ExecContext(ctx, "update mold_reservations set pulls = pulls + ?, taken = taken + ? where order_id = ? and mold_id = ?",
				v.Pulls, v.Taken, v.OrderID, v.MoldID)
		}
		return err
	})
	return r.done(ctx, what, err)
}

func (r molds) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) ([]record.MoldReservation, error) {
	where := narrow().ShopOnly(scope).Add("(pulls > 0 or taken > 0)").If("order_id = ?", order)
	items, err := all(ctx, r.read, table.MoldReservations, where, " order by order_id, mold_id")
	return items, r.done(ctx, "list reservations of molds", err)
}

func (r molds) Reserved(ctx context.Context, scope store.Scope, molds []uuid.UUID) (map[uuid.UUID]int, error) {
	where := narrow().ShopOnly(scope).Add("pulls > 0")
	among(where, "mold_id", molds)
	items, err := collect(ctx, r.read, "select mold_id, sum(pulls) from mold_reservations"+where.String()+" group by mold_id", where.Args,
		func(r table.Row) (v record.MoldReservation, err error) { return v, r.Scan(&v.MoldID, &v.Pulls) })
	out := make(map[uuid.UUID]int, len(items))
	for _, v := range items {
		out[v.MoldID] = v.Pulls
	}
	return out, r.done(ctx, "sum reservations of molds", err)
}
