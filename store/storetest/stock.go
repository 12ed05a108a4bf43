package storetest

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

func lot(n int) record.Lot {
	return record.Lot{ID: uid(n), Material: "general-purpose polyester", Unit: "kg", Batch: fmt.Sprint("B", n), ReceivedOn: "2027-03-01", ExpiresOn: "2027-05-30", CreatedAt: at(n), UpdatedAt: at(n)}
}

// moveOf is the n-th move: amount more on hand of a lot, or for an order so much
// more set aside.
func moveOf(n, lot int, amount stockroom.Amount, order *uuid.UUID) record.StockMove {
	m := record.StockMove{ID: uid(n), LotID: uid(lot), Material: "general-purpose polyester", Kind: stockroom.Receive, Amount: amount, Note: "a note",
		Change: stockroom.Change{OnHand: amount}, CreatedAt: at(n), By: record.Actor{KeyID: ptr(uid(9)), Role: record.RoleShop}}
	if order != nil {
		m.Kind, m.OrderID, m.Change = stockroom.Reserve, order, stockroom.Change{Reserved: amount}
	}
	return m
}

// received makes a lot that holds an amount.
func received(ctx context.Context, s store.Registers, n int, amount stockroom.Amount) error {
	if err := s.Stock().InsertLot(ctx, store.ShopScope(), lot(n)); err != nil {
		return err
	}
	return s.Stock().Move(ctx, store.ShopScope(), moveOf(n, n, amount, nil))
}

// ordered puts an order in, with its quote.
func ordered(t *testing.T, s store.Store, n int) *uuid.UUID {
	t.Helper()
	must(t, s.Quotes().Insert(t.Context(), store.ShopScope(), quote(n, nil)))
	must(t, s.Orders().Insert(t.Context(), store.ShopScope(), order(n, n, nil)))
	return ptr(uid(n))
}

func testStock(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	o := ordered(t, s, 5)
	must(t, received(ctx, s, 10, 1000))
	want := lot(10)
	want.OnHand = 1000
	got, own, err := s.Stock().Hold(ctx, shop, uid(10), o)
	must(t, err)
	same(t, "lot", got, want)
	same(t, "reserved by the order", own, 0)

	expect(t, "the same lot", s.Stock().InsertLot(ctx, shop, lot(10)), store.ErrConflict)
	full := lot(11)
	full.OnHand = 1
	expect(t, "a lot that holds something", s.Stock().InsertLot(ctx, shop, full), store.ErrInvalid)
	expect(t, "the same move", s.Stock().Move(ctx, shop, moveOf(10, 10, 1, nil)), store.ErrConflict)
	expect(t, "an unknown lot", s.Stock().Move(ctx, shop, moveOf(12, 99, 1, nil)), store.ErrNotFound)
	expect(t, "an unknown order", s.Stock().Move(ctx, shop, moveOf(12, 10, 1, ptr(uid(99)))), store.ErrNotFound)
	_, _, err = s.Stock().Hold(ctx, shop, uid(99), nil)
	expect(t, "hold an unknown lot", err, store.ErrNotFound)
	must(t, s.Stock().Move(ctx, shop, moveOf(13, 10, 600, o)))

	// Less than nothing of anything is refused by the schema itself, and nothing is
	// left behind.
	for what, m := range map[string]record.StockMove{
		"less than is reserved": moveOf(14, 10, -401, nil), "less than nothing": moveOf(14, 10, -1001, nil),
		"more reserved than is there": moveOf(14, 10, 401, o), "less than nothing reserved": moveOf(14, 10, -601, o),
	} {
		expect(t, what, s.Stock().Move(ctx, shop, m), store.ErrInvalid)
	}
	nobody := moveOf(14, 10, 1, nil)
	nobody.Change.Reserved = 1
	expect(t, "reserved for nobody", s.Stock().Move(ctx, shop, nobody), store.ErrInvalid)
	want.OnHand, want.Reserved, want.UpdatedAt = 1000, 600, at(13)
	got, own, err = s.Stock().Hold(ctx, shop, uid(10), o)
	must(t, err)
	same(t, "lot", got, want)
	same(t, "reserved by the order", own, 600)
	moves, err := s.Stock().Moves(ctx, shop, store.MoveFilter{}, store.Page{})
	must(t, err)
	same(t, "the book", moves.Items, []record.StockMove{moveOf(13, 10, 600, o), moveOf(10, 10, 1000, nil)})

	// Another scope has no stock.
	a, _ := withDealers(t, s)
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(*a)} {
		expect(t, "lot", s.Stock().InsertLot(ctx, scope, lot(20)), store.ErrOutOfScope)
		expect(t, "move", s.Stock().Move(ctx, scope, moveOf(20, 10, 1, nil)), store.ErrOutOfScope)
		_, _, err := s.Stock().Hold(ctx, scope, uid(10), nil)
		expect(t, "hold", err, store.ErrNotFound)
		lots, err := s.Stock().Lots(ctx, scope, store.LotFilter{}, store.Page{})
		must(t, err)
		moves, err := s.Stock().Moves(ctx, scope, store.MoveFilter{}, store.Page{})
		must(t, err)
		hand, err := s.Stock().OnHand(ctx, scope)
		must(t, err)
		kept, err := s.Stock().Kept(ctx, scope)
		must(t, err)
		held, err := s.Stock().HoldMaterials(ctx, scope, []string{"general-purpose polyester"})
		must(t, err)
		reserved, err := s.Stock().Reservations(ctx, scope, nil)
		must(t, err)
		same(t, "seen by "+scope.String(), len(lots.Items)+len(moves.Items)+len(hand)+len(kept)+len(held)+len(reserved), 0)
	}

	// Lists and filters.
	wax := lot(30)
	wax.Material, wax.ExpiresOn = "paste wax", ""
	must(t, s.Stock().InsertLot(ctx, shop, wax))
	older := lot(31)
	older.ExpiresOn = "2027-03-09"
	must(t, s.Stock().InsertLot(ctx, shop, older))
	must(t, s.Stock().Move(ctx, shop, moveOf(31, 31, 7, nil)))
	older.OnHand, older.UpdatedAt = 7, at(31)
	for _, c := range []struct {
		filter store.LotFilter
		want   []record.Lot
	}{
		{store.LotFilter{}, []record.Lot{older, wax, want}}, {store.LotFilter{Held: true}, []record.Lot{older, want}},
		{store.LotFilter{Material: "paste wax"}, []record.Lot{wax}}, {store.LotFilter{ExpiresBy: "2027-03-09"}, []record.Lot{older}},
		{store.LotFilter{ExpiresBy: "2027-03-08"}, []record.Lot{}},
	} {
		list, err := s.Stock().Lots(ctx, shop, c.filter, store.Page{})
		must(t, err)
		same(t, "lots "+show(c.filter), list.Items, c.want)
	}
	hand, err := s.Stock().OnHand(ctx, shop)
	must(t, err)
	same(t, "on hand", hand, []record.Lot{older, want})
	for _, c := range []struct {
		materials []string
		want      []record.Lot
	}{
		{[]string{"general-purpose polyester", "paste wax", "none"}, []record.Lot{want, older}}, {[]string{"paste wax"}, []record.Lot{}}, {nil, []record.Lot{}},
	} {
		held, err := s.Stock().HoldMaterials(ctx, shop, c.materials)
		must(t, err)
		same(t, "held", held, c.want)
	}
	kept, err := s.Stock().Kept(ctx, shop)
	must(t, err)
	same(t, "kept", kept, []string{"general-purpose polyester", "paste wax"})
	for _, c := range []struct {
		filter store.MoveFilter
		want   int
	}{
		{store.MoveFilter{}, 3}, {store.MoveFilter{LotID: ptr(uid(10))}, 2}, {store.MoveFilter{OrderID: o}, 1}, {store.MoveFilter{Material: "paste wax"}, 0},
		{store.MoveFilter{Kind: stockroom.Receive}, 2}, {store.MoveFilter{From: at(13)}, 2}, {store.MoveFilter{From: at(13), Before: at(31)}, 1},
	} {
		list, err := s.Stock().Moves(ctx, shop, c.filter, store.Page{})
		must(t, err)
		same(t, "moves "+show(c.filter), len(list.Items), c.want)
	}
	for _, of := range []*uuid.UUID{nil, o} {
		reserved, err := s.Stock().Reservations(ctx, shop, of)
		must(t, err)
		same(t, "reservations", reserved, []record.Reservation{{OrderID: *o, LotID: uid(10), Material: "general-purpose polyester", Amount: 600}})
	}
	reserved, err := s.Stock().Reservations(ctx, shop, ptr(uid(99)))
	must(t, err)
	same(t, "reservations of nobody", reserved, []record.Reservation{})
}

// Random moves by the rules of the stockroom: lots and reservations are always what
// the book adds up to, and a refused move leaves everything as it was. The book
// cannot be changed past the queries.
func testStockBook(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	orders := []*uuid.UUID{nil, ordered(t, s, 5), ordered(t, s, 6)}
	for n := 10; n < 13; n++ {
		must(t, s.Stock().InsertLot(ctx, shop, lot(n)))
	}
	random := rand.New(rand.NewPCG(7, 8))
	accepted := 0
	for n := range 400 {
		m := moveOf(1000+n, 10+random.IntN(3), stockroom.Amount(random.IntN(60)), nil)
		m.Kind, m.OrderID = stockroom.Kinds[random.IntN(len(stockroom.Kinds))], orders[random.IntN(3)]
		err := s.InTx(ctx, func(tx store.Tx) error {
			l, own, err := tx.Stock().Hold(ctx, shop, m.LotID, m.OrderID)
			if err != nil {
				return err
			}
			m.Change, err = stockroom.Standing{OnHand: l.OnHand, Reserved: l.Reserved, Own: own}.Change(m.Kind, m.Amount, m.OrderID != nil, day)
			if err == nil && m.Kind == stockroom.Reserve && m.OrderID == nil {
				return errNobody
			}
			if err != nil {
				return err
			}
			return tx.Stock().Move(ctx, shop, m)
		})
		if err == nil {
			accepted++
		}
	}
	if accepted < 50 || accepted > 390 {
		t.Errorf("%d of 400 moves were accepted", accepted)
	}
	type sums struct{ hand, reserved stockroom.Amount }
	lots, reserved, issued := map[uuid.UUID]sums{}, map[[2]uuid.UUID]stockroom.Amount{}, map[[2]uuid.UUID]stockroom.Amount{}
	var book []record.StockMove
	page := store.Page{Limit: store.MaxLimit}
	for moves := 0; ; {
		list, err := s.Stock().Moves(ctx, shop, store.MoveFilter{}, page)
		must(t, err)
		book = append(book, list.Items...)
		for _, m := range list.Items {
			l := lots[m.LotID]
			lots[m.LotID] = sums{l.hand + m.Change.OnHand, l.reserved + m.Change.Reserved}
			if m.OrderID != nil {
				reserved[[2]uuid.UUID{*m.OrderID, m.LotID}] += m.Change.Reserved
			}
		}
		moves += len(list.Items)
		if page.Cursor = list.NextCursor; page.Cursor == "" {
			same(t, "moves in the book", moves, accepted)
			break
		}
	}
	for i := len(book) - 1; i >= 0; i-- { // from the first on: what comes back takes no use below 0
		if m := book[i]; m.OrderID != nil {
			key := [2]uuid.UUID{*m.OrderID, m.LotID}
			issued[key] = max(0, issued[key]+m.Issued())
		}
	}
	list, err := s.Stock().Lots(ctx, shop, store.LotFilter{}, store.Page{})
	must(t, err)
	for _, l := range list.Items {
		same(t, "lot by the book", sums{l.OnHand, l.Reserved}, lots[l.ID])
	}
	all, err := s.Stock().Reservations(ctx, shop, nil)
	must(t, err)
	for _, r := range all {
		key := [2]uuid.UUID{r.OrderID, r.LotID}
		same(t, "reservation by the book", r.Amount, reserved[key])
		same(t, "used by the book", r.Issued, issued[key])
		delete(reserved, key)
	}
	for key, left := range reserved {
		same(t, "no reservation of "+key[0].String(), left, 0)
	}
	for _, statement := range []string{"update stock_moves set amount = 0", "delete from stock_moves"} {
		_, err := h.Raw(ctx, s, shop, statement)
		expect(t, statement, err, store.ErrInvalid)
	}
}

// Sixteen at once want the last of a lot: no more is given than is there.
func testStockRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	o := ordered(t, s, 5)
	must(t, received(ctx, s, 10, 50))
	other := h.Reopen(t, s)
	var given atomic.Int32
	all(16, func(n int) {
		through := s
		if n%2 == 1 {
			through = other
		}
		m := moveOf(100+n, 10, 10, o)
		err := through.InTx(ctx, func(tx store.Tx) error {
			if n%4 > 1 { // both ways of holding keep each other out
				if _, err := tx.Stock().HoldMaterials(ctx, shop, []string{m.Material}); err != nil {
					return err
				}
			}
			l, own, err := tx.Stock().Hold(ctx, shop, m.LotID, m.OrderID)
			if err != nil {
				return err
			}
			if m.Change, err = (stockroom.Standing{OnHand: l.OnHand, Reserved: l.Reserved, Own: own}).Change(m.Kind, m.Amount, true, day); err != nil {
				return err
			}
			return tx.Stock().Move(ctx, shop, m)
		})
		switch {
		case err == nil:
			given.Add(1)
		case !isRefusal(err):
			t.Errorf("taker %d: %v", n, err)
		}
	})
	l, own, err := s.Stock().Hold(ctx, shop, uid(10), o)
	must(t, err)
	if given.Load() != 5 || l.Reserved != 50 || own != 50 {
		t.Errorf("%d were given 10 of 50, %v reserved, %v by the order", given.Load(), l.Reserved, own)
	}
}
