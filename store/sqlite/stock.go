package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Stock implements store.Registers.
func (r *registers) Stock() store.Stock { return stock{r} }

type stock struct{ *registers }

func (r stock) InsertLot(ctx context.Context, scope store.Scope, l record.Lot) error {
	what := fmt.Sprintf("insert lot %v", l.ID)
	if err := store.Admit(what, scope.Whole(), store.CheckLot(l)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r.write, table.Lots, &l))
}

func (r stock) Hold(ctx context.Context, scope store.Scope, lot uuid.UUID, order *uuid.UUID) (l record.Lot, own stockroom.Amount, err error) {
	what := fmt.Sprintf("hold lot %v", lot)
	where := narrow().ShopOnly(scope).Add("id = ?", lot)
	// A transaction holds the one writer from its beginning.
	if l, err = find(ctx, r.read, table.Lots, where, ""); err == nil && order != nil {
		err = r.read.QueryRowContext(ctx, "select coalesce(sum(amount), 0) from stock_reservations where lot_id = ? and order_id = ?", lot, order).Scan(&own)
	}
	return l, own, r.done(ctx, what, err)
}

func (r stock) HoldMaterials(ctx context.Context, scope store.Scope, materials []string) ([]record.Lot, error) {
	where := narrow().ShopOnly(scope).Add("on_hand > 0")
	among(where, "material", materials)
	// A transaction holds the one writer from its beginning.
	items, err := all(ctx, r.read, table.Lots, where, " order by id")
	return items, r.done(ctx, "hold lots of materials", err)
}

func (r stock) Move(ctx context.Context, scope store.Scope, m record.StockMove) error {
	what := fmt.Sprintf("enter move %v of lot %v", m.ID, m.LotID)
	if err := store.Admit(what, scope.Whole(), store.CheckMove(m)); err != nil {
		return err
	}
	err := r.atomically(ctx, func(w conn) error {
		statement, _, args, err := table.Moves.Insert(dialect, &m, table.Column{Name: "material", Place: table.Expression("material")})
		if err != nil {
			return err
		}
		n, err := affected(w.ExecContext(ctx, statement+" from stock_lots where id = ?2", args...))
		if err == nil && n == 0 {
			err = fmt.Errorf("its lot: %w", store.ErrNotFound)
		}
		if err == nil && (m.Change.Reserved != 0 || m.Issued() != 0) {
			_, err = w.ExecContext(ctx, `insert into stock_reservations (order_id, lot_id, amount, issued) values (?, ?, 0, 0)
				on conflict (order_id, lot_id) do nothing`, m.OrderID, m.LotID)
			if err == nil {
				_, err = w.ExecContext(ctx, "update stock_reservations set amount = amount + ?, issued = max(0, issued + ?) where order_id = ? and lot_id = ?",
					m.Change.Reserved, m.Issued(), m.OrderID, m.LotID)
			}
		}
		if err == nil {
			_, err = w.ExecContext(ctx, "update stock_lots set on_hand = on_hand + ?, reserved = reserved + ?, updated_at = ? where id = ?",
				m.Change.OnHand, m.Change.Reserved, millis(m.CreatedAt), m.LotID)
		}
		return err
	})
	return r.done(ctx, what, err)
}

func (r stock) Lots(ctx context.Context, scope store.Scope, f store.LotFilter, page store.Page) (store.Listing[record.Lot], error) {
	where := table.NarrowLots(narrow().ShopOnly(scope), f)
	return list(ctx, r.registers, table.Lots, where, page, f.Place(scope))
}

func (r stock) Moves(ctx context.Context, scope store.Scope, f store.MoveFilter, page store.Page) (store.Listing[record.StockMove], error) {
	where := table.NarrowMoves(narrow().ShopOnly(scope), f)
	return list(ctx, r.registers, table.Moves, where, page, f.Place(scope))
}

func (r stock) OnHand(ctx context.Context, scope store.Scope) ([]record.Lot, error) {
	where := narrow().ShopOnly(scope).Add("on_hand > 0")
	items, err := all(ctx, r.read, table.Lots, where, " order by material, expires_on = '', expires_on, received_on, id")
	return items, r.done(ctx, "list what is on hand", err)
}

func (r stock) Kept(ctx context.Context, scope store.Scope) ([]string, error) {
	where := narrow().ShopOnly(scope)
	items, err := collect(ctx, r.read, "select distinct material from stock_lots"+where.String()+" order by material", where.Args,
		func(r table.Row) (s string, err error) { return s, r.Scan(&s) })
	return items, r.done(ctx, "list materials kept", err)
}

func (r stock) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) ([]record.Reservation, error) {
	where := narrow().ShopOnly(scope).Add("(amount > 0 or issued > 0)").If("order_id = ?", order)
	items, err := all(ctx, r.read, table.Reservations, where, " order by order_id, material, lot_id")
	return items, r.done(ctx, "list reservations", err)
}
