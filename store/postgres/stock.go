package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Stock implements store.Registers.
func (r *registers) Stock() store.Stock { return stock{r} }

type stock struct{ session }

func (r stock) InsertLot(ctx context.Context, scope store.Scope, l record.Lot) error {
	what := fmt.Sprintf("insert lot %v", l.ID)
	if err := store.Admit(what, scope.Whole(), store.CheckLot(l)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r, scope, table.Lots, &l))
}

func (r stock) Hold(ctx context.Context, scope store.Scope, lot uuid.UUID, order *uuid.UUID) (l record.Lot, own stockroom.Amount, err error) {
	what := fmt.Sprintf("hold lot %v", lot)
	where := narrow().ShopOnly(scope).Add("id = ?", lot)
	if l, err = find(ctx, r, scope, table.Lots, where, " for update"); err == nil && order != nil {
		// A statement of its own: it sees what was committed before the lot was got.
		err = r.query(ctx, scope, one(&own, func(rows pgx.Rows) (a stockroom.Amount, err error) { return a, rows.Scan(&a) }),
			"select coalesce(sum(amount), 0)::bigint from stock_reservations where lot_id = $1::uuid and order_id = $2::uuid", lot, *order)
	}
	return l, own, r.done(ctx, what, err)
}

func (r stock) HoldMaterials(ctx context.Context, scope store.Scope, materials []string) (items []record.Lot, err error) {
	where := narrow().ShopOnly(scope).Add("on_hand > 0").Add("material = any(?::text[])", materials)
	// Rows are locked after they are sorted, so two at once wait in one order, and
	// come back as they are once the lock is got.
	items, err = all(ctx, r, scope, table.Lots, where, " order by id for update")
	return items, r.done(ctx, "hold lots of materials", err)
}

func (r stock) Move(ctx context.Context, scope store.Scope, m record.StockMove) error {
	what := fmt.Sprintf("enter move %v of lot %v", m.ID, m.LotID)
	if err := store.Admit(what, scope.Whole(), store.CheckMove(m)); err != nil {
		return err
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
	where := table.NarrowLots(narrow().ShopOnly(scope), f)
	return list(ctx, r, scope, table.Lots, where, page, f.Place(scope))
}

func (r stock) Moves(ctx context.Context, scope store.Scope, f store.MoveFilter, page store.Page) (store.Listing[record.StockMove], error) {
	where := table.NarrowMoves(narrow().ShopOnly(scope), f)
	return list(ctx, r, scope, table.Moves, where, page, f.Place(scope))
}

func (r stock) OnHand(ctx context.Context, scope store.Scope) (items []record.Lot, err error) {
	where := narrow().ShopOnly(scope).Add("on_hand > 0")
	items, err = all(ctx, r, scope, table.Lots, where, " order by material, expires_on = '', expires_on, received_on, id")
	return items, r.done(ctx, "list what is on hand", err)
}

func (r stock) Kept(ctx context.Context, scope store.Scope) (items []string, err error) {
	where := narrow().ShopOnly(scope)
	err = r.query(ctx, scope, every(&items, func(rows pgx.Rows) (s string, err error) { return s, rows.Scan(&s) }),
		"select distinct material from stock_lots"+where.String()+" order by material", where.Args...)
	return items, r.done(ctx, "list materials kept", err)
}

func (r stock) Reservations(ctx context.Context, scope store.Scope, order *uuid.UUID) (items []record.Reservation, err error) {
	where := narrow().ShopOnly(scope).Add("(amount > 0 or issued > 0)").If("order_id = ?", order)
	items, err = all(ctx, r, scope, table.Reservations, where, " order by order_id, material, lot_id")
	return items, r.done(ctx, "list reservations", err)
}
