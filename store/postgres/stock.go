package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// Stock implements store.Registers.
func (r *registers) Stock() store.Stock { return stock{r} }

type stock struct{ session }

const lotColumns = "id, material, unit, batch, on_hand, reserved, received_on, expires_on, created_at, updated_at"

func scanLot(rows pgx.Rows) (l record.Lot, err error) {
	err = rows.Scan(&l.ID, &l.Material, &l.Unit, &l.Batch, &l.OnHand, &l.Reserved, &l.ReceivedOn, &l.ExpiresOn, &l.CreatedAt, &l.UpdatedAt)
	inUTC(&l.CreatedAt, &l.UpdatedAt)
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
	n, err := exec(ctx, r, scope, "insert into stock_lots ("+lotColumns+") values ($1, $2, $3, $4, 0, 0, $5, $6, $7, $8) on conflict do nothing",
		l.ID, l.Material, l.Unit, l.Batch, l.ReceivedOn, l.ExpiresOn, record.Moment(l.CreatedAt), record.Moment(l.UpdatedAt))
	if err == nil && n == 0 {
		err = store.ErrConflict
	}
	return r.done(ctx, what, err)
}

func (r stock) Hold(ctx context.Context, scope store.Scope, lot uuid.UUID, order *uuid.UUID) (l record.Lot, own stockroom.Amount, err error) {
	what := fmt.Sprintf("hold lot %v", lot)
	where := shopOnly(scope)
	where.add("id = $?::uuid", lot)
	if err = r.query(ctx, scope, one(&l, scanLot), "select "+lotColumns+" from stock_lots"+where.String()+" for update", where.args...); err == nil && order != nil {
		// A statement of its own: it sees what was committed before the lot was got.
		err = r.query(ctx, scope, one(&own, func(rows pgx.Rows) (a stockroom.Amount, err error) { return a, rows.Scan(&a) }),
			"select coalesce(sum(amount), 0)::bigint from stock_reservations where lot_id = $1::uuid and order_id = $2::uuid", lot, *order)
	}
	return l, own, r.done(ctx, what, err)
}

func (r stock) HoldMaterials(ctx context.Context, scope store.Scope, materials []string) (items []record.Lot, err error) {
	where := shopOnly(scope)
	where.add("on_hand > 0")
	where.add("material = any($?::text[])", materials)
	// Rows are locked after they are sorted, so two at once wait in one order, and
	// come back as they are once the lock is got.
	err = r.query(ctx, scope, every(&items, scanLot), "select "+lotColumns+" from stock_lots"+where.String()+" order by id for update", where.args...)
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
	// One statement: move, lot and reservation go together or not at all.
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), `with lot as (
			select id, material from stock_lots where id = $2::uuid
			and ($5::uuid is null or exists (select 1 from orders where id = $5::uuid))
		), moved as (
			insert into stock_moves (id, lot_id, material, kind, amount, order_id, note, on_hand, reserved, created_at, moved_by, moved_as)
			select $1::uuid, lot.id, lot.material, $3::text, $4::bigint, $5::uuid, $6::text, $7::bigint, $8::bigint, $9::timestamptz, $10::uuid, $11::text from lot
			on conflict do nothing
			returning lot_id
		), changed as (
			update stock_lots set on_hand = on_hand + $7::bigint, reserved = reserved + $8::bigint, updated_at = $9::timestamptz
			from moved where id = moved.lot_id
		), taken as (
			update stock_reservations s set amount = amount + $8::bigint, issued = greatest(0, issued + $12::bigint)
			from moved where ($8::bigint <> 0 or $12::bigint <> 0) and s.lot_id = moved.lot_id and s.order_id = $5::uuid
			returning s.order_id
		), fresh as (
			insert into stock_reservations (order_id, lot_id, amount, issued)
			select $5::uuid, moved.lot_id, $8::bigint, greatest(0, $12::bigint) from moved
			where ($8::bigint <> 0 or $12::bigint <> 0) and not exists (select 1 from taken)
		)
		select exists (select 1 from lot), (select count(*) from moved)`,
		m.ID, m.LotID, string(m.Kind), int64(m.Amount), m.OrderID, m.Note, int64(m.Change.OnHand), int64(m.Change.Reserved),
		record.Moment(m.CreatedAt), m.By.KeyID, string(m.By.Role), int64(m.Issued()))
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r stock) Lots(ctx context.Context, scope store.Scope, f store.LotFilter, page store.Page) (store.Listing[record.Lot], error) {
	where := shopOnly(scope)
	if f.Material != "" {
		where.add("material = $?::text", f.Material)
	}
	if f.Held {
		where.add("on_hand > 0")
	}
	if f.ExpiresBy != "" {
		where.add("expires_on <> '' and expires_on <= $?::text", f.ExpiresBy)
	}
	return list(ctx, r, "lots", scope, "select "+lotColumns+" from stock_lots", where, page, f.Place(scope), scanLot,
		func(l record.Lot) store.Position { return store.Position{CreatedAt: l.CreatedAt, ID: l.ID} })
}

func (r stock) Moves(ctx context.Context, scope store.Scope, f store.MoveFilter, page store.Page) (store.Listing[record.StockMove], error) {
	where := shopOnly(scope)
	if f.LotID != nil {
		where.add("lot_id = $?::uuid", *f.LotID)
	}
	if f.OrderID != nil {
		where.add("order_id = $?::uuid", *f.OrderID)
	}
	if f.Material != "" {
		where.add("material = $?::text", f.Material)
	}
	if f.Kind != "" {
		where.add("kind = $?::text", string(f.Kind))
	}
	if !f.From.IsZero() {
		where.add("created_at >= $?::timestamptz", record.Moment(f.From))
	}
	if !f.Before.IsZero() {
		where.add("created_at < $?::timestamptz", record.Moment(f.Before))
	}
	return list(ctx, r, "stock moves", scope, "select id, lot_id, material, kind, amount, order_id, note, on_hand, reserved, created_at, moved_by, moved_as from stock_moves", where, page, f.Place(scope),
		func(rows pgx.Rows) (m record.StockMove, err error) {
			err = rows.Scan(&m.ID, &m.LotID, &m.Material, &m.Kind, &m.Amount, &m.OrderID, &m.Note, &m.Change.OnHand, &m.Change.Reserved, &m.CreatedAt, &m.By.KeyID, &m.By.Role)
			inUTC(&m.CreatedAt)
			return m, err
		},
		func(m record.StockMove) store.Position { return store.Position{CreatedAt: m.CreatedAt, ID: m.ID} })
}

func (r stock) OnHand(ctx context.Context, scope store.Scope) (items []record.Lot, err error) {
	where := shopOnly(scope)
	where.add("on_hand > 0")
	err = r.query(ctx, scope, every(&items, scanLot), "select "+lotColumns+" from stock_lots"+where.String()+" order by material, expires_on = '', expires_on, received_on, id", where.args...)
	return items, r.done(ctx, "list what is on hand", err)
}

func (r stock) Kept(ctx context.Context, scope store.Scope) (items []string, err error) {
	where := shopOnly(scope)
	err = r.query(ctx, scope, every(&items, func(rows pgx.Rows) (s string, err error) { return s, rows.Scan(&s) }),
		"select distinct material from stock_lots"+where.String()+" order by material", where.args...)
	return items, r.done(ctx, "list materials kept", err)
}

func (r stock) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) (items []record.Reservation, err error) {
	where := shopOnly(scope)
	where.add("(amount > 0 or issued > 0)")
	if order != nil {
		where.add("order_id = $?::uuid", *order)
	}
	err = r.query(ctx, scope, every(&items, func(rows pgx.Rows) (v record.Reservation, err error) {
		return v, rows.Scan(&v.OrderID, &v.LotID, &v.Material, &v.Amount, &v.Issued)
	}), "select order_id, lot_id, material, amount, issued from stock_reservations join stock_lots on id = lot_id"+where.String()+" order by order_id, material, lot_id", where.args...)
	return items, r.done(ctx, "list reservations", err)
}
