package storetest

import (
	"errors"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

func testMoldReservations(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	o, other := ordered(t, s, 5), ordered(t, s, 6)
	must(t, s.Molds().Insert(ctx, shop, mold(10, nil)))
	must(t, s.Molds().Insert(ctx, shop, mold(11, nil)))
	of := func(order *uuid.UUID, mold, pulls, taken int) record.MoldReservation {
		return record.MoldReservation{OrderID: *order, MoldID: uid(mold), Pulls: pulls, Taken: taken}
	}
	got, reserved, err := s.Molds().Hold(ctx, shop, uid(10))
	must(t, err)
	same(t, "mold", got, mold(10, nil))
	same(t, "reserved", reserved, 0)
	must(t, s.Molds().Reserve(ctx, shop, of(o, 10, 4, 0)))
	must(t, s.Molds().Reserve(ctx, shop, of(other, 10, 2, 0)))
	must(t, s.Molds().Reserve(ctx, shop, of(o, 11, 1, 0)))
	must(t, s.Molds().Reserve(ctx, shop, of(o, 10, -1, 1))) // a pull was taken

	// Less than nothing is refused by the schema itself; nothing is left behind.
	expect(t, "less than nothing", s.Molds().Reserve(ctx, shop, of(other, 10, -3, 3)), store.ErrInvalid)
	expect(t, "less than nothing anew", s.Molds().Reserve(ctx, shop, of(other, 11, -1, 0)), store.ErrInvalid)
	expect(t, "less than none taken", s.Molds().Reserve(ctx, shop, of(other, 10, 0, -1)), store.ErrInvalid)
	expect(t, "beyond counting", s.Molds().Reserve(ctx, shop, of(other, 10, 1<<40, 0)), store.ErrInvalid)
	expect(t, "an unknown order", s.Molds().Reserve(ctx, shop, of(ptr(uid(99)), 10, 1, 0)), store.ErrNotFound)
	expect(t, "an unknown mold", s.Molds().Reserve(ctx, shop, of(o, 99, 1, 0)), store.ErrNotFound)
	_, _, err = s.Molds().Hold(ctx, shop, uid(99))
	expect(t, "hold an unknown mold", err, store.ErrNotFound)

	_, reserved, err = s.Molds().Hold(ctx, shop, uid(10))
	must(t, err)
	same(t, "reserved", reserved, 5)
	for _, c := range []struct {
		order *uuid.UUID
		want  []record.MoldReservation
	}{
		{nil, []record.MoldReservation{of(o, 10, 3, 1), of(o, 11, 1, 0), of(other, 10, 2, 0)}},
		{other, []record.MoldReservation{of(other, 10, 2, 0)}}, {ptr(uid(99)), []record.MoldReservation{}},
	} {
		list, err := s.Molds().Reservations(ctx, shop, c.order)
		must(t, err)
		same(t, "reservations", list, c.want)
	}
	must(t, s.Molds().Reserve(ctx, shop, of(o, 11, -1, 0)))
	for _, c := range []struct {
		molds []uuid.UUID
		want  map[uuid.UUID]int
	}{
		{[]uuid.UUID{uid(10), uid(11), uid(99)}, map[uuid.UUID]int{uid(10): 5}}, {[]uuid.UUID{uid(11)}, map[uuid.UUID]int{}}, {nil, map[uuid.UUID]int{}},
	} {
		sums, err := s.Molds().Reserved(ctx, shop, c.molds)
		must(t, err)
		same(t, "reserved of each", sums, c.want)
	}

	// They are the shop's alone.
	a, _ := withDealers(t, s)
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(*a)} {
		expect(t, "reserve as "+scope.String(), s.Molds().Reserve(ctx, scope, of(o, 10, 1, 0)), store.ErrOutOfScope)
		_, _, err := s.Molds().Hold(ctx, scope, uid(10))
		expect(t, "hold as "+scope.String(), err, store.ErrNotFound)
		list, err := s.Molds().Reservations(ctx, scope, nil)
		must(t, err)
		sums, err := s.Molds().Reserved(ctx, scope, []uuid.UUID{uid(10)})
		must(t, err)
		same(t, "seen by "+scope.String(), len(list)+len(sums), 0)
	}
}

var errWorn = errors.New("no pull is free")

// Of many orders at once for the last pulls just as many get one as there are.
func testMoldReservationRace(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	shop := store.ShopScope()
	const orders, pulls = 16, 5
	m := mold(10, nil)
	m.RemainingPulls = pulls
	must(t, s.Molds().Insert(ctx, shop, m))
	ids := make([]*uuid.UUID, orders)
	for n := range ids {
		ids[n] = ordered(t, s, 20+n)
	}
	var won atomic.Int32
	all(orders, func(n int) {
		err := s.InTx(ctx, func(tx store.Tx) error {
			held, reserved, err := tx.Molds().Hold(ctx, shop, m.ID)
			if err != nil {
				return err
			}
			if held.RemainingPulls <= reserved {
				return errWorn
			}
			return tx.Molds().Reserve(ctx, shop, record.MoldReservation{OrderID: *ids[n], MoldID: m.ID, Pulls: 1})
		})
		switch {
		case err == nil:
			won.Add(1)
		case !errors.Is(err, errWorn):
			t.Errorf("order %d: %v", n, err)
		}
	})
	sums, err := s.Molds().Reserved(ctx, shop, []uuid.UUID{m.ID})
	must(t, err)
	if won.Load() != pulls || sums[m.ID] != pulls {
		t.Errorf("%d orders got a pull, %d are reserved, of %d", won.Load(), sums[m.ID], pulls)
	}
}
