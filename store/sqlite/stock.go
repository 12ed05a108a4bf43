package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// Stock implements store.Registers.
func (r *registers) Stock() store.Stock { return stock{r} }

type stock struct{ *registers }

const lotColumns = "id, material, unit, batch, on_hand, reserved, received_on, expires_on, created_at, updated_at"

func scanLot(r row) (l record.Lot, err error) {
	err = r.Scan(&l.ID, &l.Material, &l.Unit, &l.Batch, &l.OnHand, &l.Reserved, &l.ReceivedOn, &l.ExpiresOn, stamp{&l.CreatedAt}, stamp{&l.UpdatedAt})
	return l, err
}

// shopOnly narrows to nothing for any other scope than the shop's.
func shopOnly(scope store.Scope) *conditions {
	where := new(conditions)
	if !scope.Whole() {
		where.add("false")
	}
	return where
}

func (r stock) InsertLot(ctx context.Context, scope store.Scope, l record.Lot) error {
	what := fmt.Sprintf("insert lot %v", l.ID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckLot(l); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	_, err := r.write.ExecContext(ctx, "insert into stock_lots ("+lotColumns+") values (?, ?, ?, ?, 0, 0, ?, ?, ?, ?)",
		l.ID.String(), l.Material, l.Unit, l.Batch, l.ReceivedOn, l.ExpiresOn, millis(l.CreatedAt), millis(l.UpdatedAt))
	return r.done(ctx, what, err)
}

func (r stock) Hold(ctx context.Context, scope store.Scope, lot uuid.UUID, order *uuid.UUID) (l record.Lot, own stockroom.Amount, err error) {
	what := fmt.Sprintf("hold lot %v", lot)
	where := shopOnly(scope)
	where.add("id = ?", lot.String())
	// A transaction holds the one writer from its beginning.
	if l, err = scanLot(r.read.QueryRowContext(ctx, "select "+lotColumns+" from stock_lots"+where.String(), where.args...)); err == nil && order != nil {
		err = r.read.QueryRowContext(ctx, "select coalesce(sum(amount), 0) from stock_reservations where lot_id = ? and order_id = ?", lot.String(), order.String()).Scan(&own)
	}
	return l, own, r.done(ctx, what, err)
}

func (r stock) HoldMaterials(ctx context.Context, scope store.Scope, materials []string) ([]record.Lot, error) {
	where := shopOnly(scope)
	where.add("on_hand > 0")
	where.among("material", anys(materials)...)
	// A transaction holds the one writer from its beginning.
	items, err := collect(ctx, r.read, "select "+lotColumns+" from stock_lots"+where.String()+" order by id", where.args, scanLot)
	return items, r.done(ctx, "hold lots of materials", err)
}

func (r stock) Move(ctx context.Context, scope store.Scope, m record.StockMove) error {
	what := fmt.Sprintf("enter move %v of lot %v", m.ID, m.LotID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckMove(m); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	err := r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, `insert into stock_moves (id, lot_id, material, kind, amount, order_id, note, on_hand, reserved, created_at, moved_by, moved_as)
			select ?1, id, material, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11 from stock_lots where id = ?2`,
			m.ID.String(), m.LotID.String(), string(m.Kind), int64(m.Amount), idOrNull(m.OrderID), m.Note, int64(m.Change.OnHand), int64(m.Change.Reserved),
			millis(m.CreatedAt), idOrNull(m.By.KeyID), string(m.By.Role)))
		if err == nil && n == 0 {
			err = fmt.Errorf("its lot: %w", store.ErrNotFound)
		}
		if err == nil && (m.Change.Reserved != 0 || m.Issued() != 0) {
			_, err = w.ExecContext(ctx, `insert into stock_reservations (order_id, lot_id, amount, issued) values (?, ?, 0, 0)
				on conflict (order_id, lot_id) do nothing`, m.OrderID.String(), m.LotID.String())
			if err == nil {
				_, err = w.ExecContext(ctx, "update stock_reservations set amount = amount + ?, issued = max(0, issued + ?) where order_id = ? and lot_id = ?",
					int64(m.Change.Reserved), int64(m.Issued()), m.OrderID.String(), m.LotID.String())
			}
		}
		if err == nil {
			_, err = w.ExecContext(ctx, "update stock_lots set on_hand = on_hand + ?, reserved = reserved + ?, updated_at = ? where id = ?",
				int64(m.Change.OnHand), int64(m.Change.Reserved), millis(m.CreatedAt), m.LotID.String())
		}
		return err
	})
	return r.done(ctx, what, err)
}

func (r stock) Lots(ctx context.Context, scope store.Scope, f store.LotFilter, page store.Page) (store.Listing[record.Lot], error) {
	where := shopOnly(scope)
	if f.Material != "" {
		where.add("material = ?", f.Material)
	}
	if f.Held {
		where.add("on_hand > 0")
	}
	if f.ExpiresBy != "" {
		where.add("expires_on <> '' and expires_on <= ?", f.ExpiresBy)
	}
	return list(ctx, r.registers, "lots", "select "+lotColumns+" from stock_lots", where, page, f.Place(scope), scanLot,
		func(l record.Lot) store.Position { return store.Position{CreatedAt: l.CreatedAt, ID: l.ID} })
}

func (r stock) Moves(ctx context.Context, scope store.Scope, f store.MoveFilter, page store.Page) (store.Listing[record.StockMove], error) {
	where := shopOnly(scope)
	if f.LotID != nil {
		where.add("lot_id = ?", f.LotID.String())
	}
	if f.OrderID != nil {
		where.add("order_id = ?", f.OrderID.String())
	}
	if f.Material != "" {
		where.add("material = ?", f.Material)
	}
	if f.Kind != "" {
		where.add("kind = ?", string(f.Kind))
	}
	if !f.From.IsZero() {
		where.add("created_at >= ?", millis(f.From))
	}
	if !f.Before.IsZero() {
		where.add("created_at < ?", millis(f.Before))
	}
	return list(ctx, r.registers, "stock moves", "select id, lot_id, material, kind, amount, order_id, note, on_hand, reserved, created_at, moved_by, moved_as from stock_moves", where, page, f.Place(scope),
		func(r row) (m record.StockMove, err error) {
			err = r.Scan(&m.ID, &m.LotID, &m.Material, &m.Kind, &m.Amount, &m.OrderID, &m.Note, &m.Change.OnHand, &m.Change.Reserved, stamp{&m.CreatedAt}, &m.By.KeyID, &m.By.Role)
			return m, err
		},
		func(m record.StockMove) store.Position { return store.Position{CreatedAt: m.CreatedAt, ID: m.ID} })
}

func (r stock) OnHand(ctx context.Context, scope store.Scope) ([]record.Lot, error) {
	where := shopOnly(scope)
	where.add("on_hand > 0")
	items, err := collect(ctx, r.read, "select "+lotColumns+" from stock_lots"+where.String()+" order by material, expires_on = '', expires_on, received_on, id", where.args, scanLot)
	return items, r.done(ctx, "list what is on hand", err)
}

func (r stock) Kept(ctx context.Context, scope store.Scope) ([]string, error) {
	where := shopOnly(scope)
	items, err := collect(ctx, r.read, "select distinct material from stock_lots"+where.String()+" order by material", where.args,
		func(r row) (s string, err error) { return s, r.Scan(&s) })
	return items, r.done(ctx, "list materials kept", err)
}

func (r stock) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) ([]record.Reservation, error) {
	where := shopOnly(scope)
	where.add("(amount > 0 or issued > 0)")
	if order != nil {
		where.add("order_id = ?", order.String())
	}
	items, err := collect(ctx, r.read, "select order_id, lot_id, material, amount, issued from stock_reservations join stock_lots on id = lot_id"+where.String()+" order by order_id, material, lot_id", where.args,
		func(r row) (v record.Reservation, err error) {
			return v, r.Scan(&v.OrderID, &v.LotID, &v.Material, &v.Amount, &v.Issued)
		})
	return items, r.done(ctx, "list reservations", err)
}
