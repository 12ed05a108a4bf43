package storetest

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Lists of orders are read page by page, under several filters and in pages of any
// size, while others add orders, older and newer than those that are read, and change
// those that are there. Whatever happens meanwhile, an order that was there before
// and fits the filter throughout comes exactly once, and nothing comes twice or out
// of order.
func testPagingUnderWrites(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	const (
		there  = 60 // orders that are there before
		added  = 30 // by each of two writers
		passes = 4  // through each list, at least
	)
	var next atomic.Int64
	insert := func(random *rand.Rand) (record.Order, error) {
		n := int(next.Add(2))
		owner := a
		if random.IntN(3) == 0 {
			owner = b
		}
		q := quote(10_000+n, owner)
		if err := s.Quotes().Insert(ctx, shop, q); err != nil {
			return record.Order{}, err
		}
		o := order(20_000+n, 10_000+n, owner)
		o.CreatedAt = at(1000 + random.IntN(25)) // several at each millisecond
		o.PurchaseReference = fmt.Sprintf("PO %d", random.IntN(3))
		o.Promise = fmt.Sprintf("2027-03-%02d", 10+random.IntN(10))
		return o, s.Orders().Insert(ctx, shop, o)
	}
	random := rand.New(rand.NewPCG(5, 6))
	var before []record.Order
	for range there {
		o, err := insert(random)
		must(t, err)
		before = append(before, o)
	}
	// Every third is left alone; the others change hands and promises.
	steady := func(o record.Order) bool { return (o.ID[15]/2)%3 == 0 }

	type list struct {
		scope  store.Scope
		filter store.OrderFilter
		fits   func(record.Order) bool // throughout, of those that were there before
	}
	lists := []list{
		{shop, store.OrderFilter{}, func(record.Order) bool { return true }},
		{store.DealerScope(*a), store.OrderFilter{}, func(o record.Order) bool { return *o.DealerID == *a }},
		{shop, store.OrderFilter{DealerID: b}, func(o record.Order) bool { return *o.DealerID == *b }},
		{shop, store.OrderFilter{State: record.OrderReceived}, steady},
		{shop, store.OrderFilter{PurchaseReference: "PO 1"}, func(o record.Order) bool { return steady(o) && o.PurchaseReference == "PO 1" }},
		{shop, store.OrderFilter{PromisedFrom: "2027-03-12", PromisedTo: "2027-03-15"},
			func(o record.Order) bool {
				return steady(o) && o.Promise >= "2027-03-12" && o.Promise <= "2027-03-15"
			}},
	}
	var writing, reading sync.WaitGroup
	done := make(chan struct{})
	for i := range 2 {
		writing.Go(func() {
			random := rand.New(rand.NewPCG(uint64(i), 7))
			for range added {
				if _, err := insert(random); err != nil {
					t.Error(err)
					return
				}
				o, err := s.Orders().Get(ctx, shop, before[random.IntN(len(before))].ID)
				if err != nil {
					t.Error(err)
					return
				}
				if steady(o) {
					continue
				}
				o.State, o.HeldFrom, o.HeldBy = record.OrderOnHold, record.OrderReceived, record.RoleDealer
				if random.IntN(2) == 0 {
					o.State, o.HeldFrom, o.HeldBy = record.OrderReceived, "", ""
				}
				o.Promise = fmt.Sprintf("2027-03-%02d", 10+random.IntN(10))
				o.UpdatedAt, o.Version = at(5000+random.IntN(1000)), o.Version+1
				// The other writer may have been faster.
				if err := s.Orders().Update(ctx, shop, o, o.Version-1); err != nil && !errors.Is(err, store.ErrStaleVersion) {
					t.Error(err)
					return
				}
			}
		})
	}
	for i, l := range lists {
		reading.Go(func() {
			random := rand.New(rand.NewPCG(uint64(i), 8))
			for pass, last := 0, false; pass < passes || !last; pass++ {
				select {
				case <-done:
					last = true
				default:
				}
				seen := map[uuid.UUID]bool{}
				var all []record.Order
				for page := (store.Page{}); ; {
					page.Limit = 1 + random.IntN(9)
					got, err := s.Orders().List(ctx, l.scope, l.filter, page)
					if err != nil {
						t.Error(err)
						return
					}
					all = append(all, got.Items...)
					if page.Cursor = got.NextCursor; page.Cursor == "" {
						break
					}
				}
				for k, o := range all {
					if seen[o.ID] {
						t.Errorf("list %d, pass %d: %v comes twice", i, pass, o.ID)
					}
					seen[o.ID] = true
					if k > 0 && !newer(all[k-1], o) {
						t.Errorf("list %d, pass %d: %v comes after %v", i, pass, o.ID, all[k-1].ID)
					}
				}
				for _, o := range before {
					if l.fits(o) && !seen[o.ID] {
						t.Errorf("list %d, pass %d: %v is lost", i, pass, o.ID)
					}
				}
			}
		})
	}
	writing.Wait()
	close(done)
	reading.Wait()
}

// newer tells whether a stands before b in a list that has the newest first.
func newer(a, b record.Order) bool {
	if c := a.CreatedAt.Compare(b.CreatedAt); c != 0 {
		return c > 0
	}
	return slices.Compare(a.ID[:], b.ID[:]) > 0
}
