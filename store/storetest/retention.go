package storetest

import (
	"fmt"
	"testing"
	"time"

	"hatchwright/service/record"
	"hatchwright/store"
)

func testRetention(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, _ := withDealers(t, s)
	shop := store.ShopScope()
	sequence, from, err := s.Retention().EventsFrom(ctx)
	must(t, err)
	same(t, "at first", fmt.Sprint(sequence, from), fmt.Sprint(0, time.UnixMilli(0).UTC()))

	// Events 1 to 10, a millisecond apart from at(1): those with even numbers are of
	// quotes, the others of orders. 2 was delivered, 4 is pending, 6 parked, 8 is to
	// be sent again.
	w, err := s.Webhooks().Insert(ctx, shop, webhook(10, a))
	must(t, err)
	var list []record.Event
	for n := 1; n <= 10; n++ {
		e := event(n, a)
		if n%2 == 0 {
			e.Subject = record.Subject{Kind: "quote", ID: uid(70 + n)}
		}
		list = append(list, e)
	}
	list, err = s.Events().Append(ctx, shop, list...)
	must(t, err)
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		if _, _, err := tx.Deliveries().Pending(ctx, shop); err != nil {
			return err
		}
		var out []record.Delivery
		for _, n := range []int{2, 4, 6, 8} {
			d := delivery(200+n, w, list[n-1])
			d.Subject = list[n-1].Subject.ID
			switch n {
			case 2, 8:
				d.State, d.DeliveredAt = record.DeliveryDelivered, ptr(at(20+n))
			case 6:
				d.State = record.DeliveryParked
			}
			out = append(out, d)
		}
		return tx.Deliveries().Insert(ctx, shop, 8, out...) // 9 and 10 are still to be made into deliveries
	}))
	_, err = s.Deliveries().Resend(ctx, shop, uid(208), at(40))
	must(t, err)
	for n := 300; n < 305; n++ {
		must(t, s.Audit().Append(ctx, shop, auditEntry(n)))
	}
	left := func() (numbers []int64) {
		t.Helper()
		list, err := s.Events().After(ctx, shop, 0, 100)
		must(t, err)
		for _, e := range list {
			numbers = append(numbers, e.Sequence)
		}
		return numbers
	}
	events := func(before time.Time, limit, removed int, begins int64, want ...int64) {
		t.Helper()
		n, err := s.Retention().RemoveEvents(ctx, shop, before, limit)
		must(t, err)
		same(t, "events removed", n, removed)
		same(t, "events left", left(), want)
		sequence, _, err := s.Retention().EventsFrom(ctx)
		must(t, err)
		same(t, "begins after", sequence, begins)
	}
	deliveries := func(before time.Time, limit, want int) {
		t.Helper()
		n, err := s.Retention().RemoveDeliveries(ctx, shop, before, limit)
		must(t, err)
		same(t, "deliveries removed", n, want)
	}
	events(at(1), 100, 0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10) // none is older
	events(at(4), 100, 0, 3, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10) // 2 has a delivery
	deliveries(at(22), 100, 0)
	deliveries(at(1000), 100, 1) // that of 2: the others are pending, parked, to be sent again
	events(at(4), 0, 0, 3, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10)
	events(at(4), 100, 1, 3, 1, 3, 4, 5, 6, 7, 8, 9, 10)
	events(at(2), 100, 0, 3, 1, 3, 4, 5, 6, 7, 8, 9, 10)    // it never moves back
	events(at(1000), 100, 0, 8, 1, 3, 4, 5, 6, 7, 8, 9, 10) // 9 and 10 are not made into deliveries yet
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		if _, _, err := tx.Deliveries().Pending(ctx, shop); err != nil {
			return err
		}
		return tx.Deliveries().Insert(ctx, shop, 10)
	}))
	events(at(1000), 100, 1, 10, 1, 3, 4, 5, 6, 7, 8, 9)
	_, from, err = s.Retention().EventsFrom(ctx)
	must(t, err)
	same(t, "removed before", from, at(1000))
	must(t, s.Webhooks().Delete(ctx, shop, w.ID)) // with its deliveries
	events(at(1000), 2, 2, 10, 1, 3, 5, 7, 8, 9)
	events(at(1000), 2, 1, 10, 1, 3, 5, 7, 9)
	events(at(1000), 2, 0, 10, 1, 3, 5, 7, 9) // of orders, for good
	more, err := s.Events().Append(ctx, shop, event(400, a))
	must(t, err)
	same(t, "sequences go on", more[0].Sequence, 11)

	// Audit entries, oldest first.
	audit := func(before time.Time, limit, want, leave int) {
		t.Helper()
		n, err := s.Retention().RemoveAudit(ctx, shop, before, limit)
		must(t, err)
		same(t, "entries removed", n, want)
		l, err := s.Audit().List(ctx, shop, store.AuditFilter{}, store.Page{})
		must(t, err)
		same(t, "entries left", len(l.Items), leave)
	}
	audit(at(300), 100, 0, 5)
	audit(at(303), 2, 2, 3)
	audit(at(303), 2, 1, 2)
	audit(at(303), 2, 0, 2)

	// Nothing goes before its time past the queries either, and only the shop removes.
	for _, statement := range []string{"delete from events", "delete from audit_entries", "update events set kind = 'x'", "update audit_entries set action = 'x'"} {
		_, err := h.Raw(ctx, s, shop, statement)
		expect(t, statement, err, store.ErrInvalid)
	}
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(*a)} {
		_, err := s.Retention().RemoveEvents(ctx, scope, at(1000), 10)
		expect(t, "events by "+scope.String(), err, store.ErrOutOfScope)
		_, err = s.Retention().RemoveDeliveries(ctx, scope, at(1000), 10)
		expect(t, "deliveries by "+scope.String(), err, store.ErrOutOfScope)
		_, err = s.Retention().RemoveAudit(ctx, scope, at(1000), 10)
		expect(t, "entries by "+scope.String(), err, store.ErrOutOfScope)
	}
}
