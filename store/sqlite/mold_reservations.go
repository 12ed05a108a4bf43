package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

func (r molds) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (m record.Mold, reserved int, err error) {
	what := fmt.Sprintf("hold mold %v", id)
	where := shopOnly(scope)
	where.add("id = ?", id.String())
	// A transaction holds the one writer from its beginning.
	if m, err = scanMold(r.read.QueryRowContext(ctx, "select "+moldColumns+" from molds"+where.String(), where.args...)); err == nil {
		err = r.read.QueryRowContext(ctx, "select coalesce(sum(pulls), 0) from mold_reservations where mold_id = ? and pulls > 0", id.String()).Scan(&reserved)
	}
	return m, reserved, r.done(ctx, what, err)
}

func (r molds) Reserve(ctx context.Context, scope store.Scope, v record.MoldReservation) error {
	what := fmt.Sprintf("reserve mold %v for order %v", v.MoldID, v.OrderID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckMoldReservation(v); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	err := r.atomically(ctx, func(w conn) error {
		_, err := w.ExecContext(ctx, "insert into mold_reservations (order_id, mold_id, pulls, taken) values (?, ?, 0, 0) on conflict (order_id, mold_id) do nothing",
			v.OrderID.String(), v.MoldID.String())
		if err == nil {
			_, err = w.ExecContext(ctx, "update mold_reservations set pulls = pulls + ?, taken = taken + ? where order_id = ? and mold_id = ?",
				v.Pulls, v.Taken, v.OrderID.String(), v.MoldID.String())
		}
		return err
	})
	return r.done(ctx, what, err)
}

func (r molds) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) ([]record.MoldReservation, error) {
	where := shopOnly(scope)
	where.add("(pulls > 0 or taken > 0)")
	if order != nil {
		where.add("order_id = ?", order.String())
	}
	items, err := collect(ctx, r.read, "select order_id, mold_id, pulls, taken from mold_reservations"+where.String()+" order by order_id, mold_id", where.args,
		func(r row) (v record.MoldReservation, err error) {
			return v, r.Scan(&v.OrderID, &v.MoldID, &v.Pulls, &v.Taken)
		})
	return items, r.done(ctx, "list reservations of molds", err)
}

func (r molds) Reserved(ctx context.Context, scope store.Scope, molds []uuid.UUID) (map[uuid.UUID]int, error) {
	where := shopOnly(scope)
	where.add("pulls > 0")
	ids := make([]any, len(molds))
	for i, m := range molds {
		ids[i] = m.String()
	}
	where.among("mold_id", ids...)
	items, err := collect(ctx, r.read, "select mold_id, sum(pulls) from mold_reservations"+where.String()+" group by mold_id", where.args,
		func(r row) (v record.MoldReservation, err error) { return v, r.Scan(&v.MoldID, &v.Pulls) })
	out := make(map[uuid.UUID]int, len(items))
	for _, v := range items {
		out[v.MoldID] = v.Pulls
	}
	return out, r.done(ctx, "sum reservations of molds", err)
}
