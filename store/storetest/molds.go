package storetest

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
)

func mold(n int, owner *uuid.UUID) record.Mold {
	return record.Mold{ID: uid(n), DealerID: owner, Version: 1, Tag: fmt.Sprintf("PR-%d", n), Part: "receiver", Class: "receiver/plug/flush-ledge",
		Fingerprint: fmt.Sprintf("sha256:%d", n), Set: "sha256:set", Long: 520, Short: 380, LeastRadius: 60, Face: []byte(`{"part":"receiver", "outlines":[]}`),
		RemainingPulls: 20, Pulls: 3, State: record.MoldReady, Location: "rack 2", Note: "good", CreatedAt: at(n), UpdatedAt: at(n)}
}

// around bounds what lies within t of 520 + n by 380.
func around(n, t float64) store.MoldBounds {
	b := store.MoldBounds{Class: "receiver/plug/flush-ledge", LongLeast: 520 + n - t, LongMost: 520 + n + t, ShortLeast: 380 - t, ShortMost: 380 + t}
	b.Strips = register.Bounds{LongLeast: b.LongLeast, LongMost: b.LongMost}.Strips()
	return b
}

func moldIDs(list []record.Mold) []uuid.UUID {
	ids := []uuid.UUID{}
	for _, m := range list {
		ids = append(ids, m.ID)
	}
	return ids
}

func testMolds(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	everybody, ofA, ofB := mold(10, nil), mold(11, a), mold(12, b)
	must(t, s.Configurations().Insert(ctx, shop, configuration(50, a)))
	ofA.ConfigurationID = ptr(uid(50))
	ofB.Part, ofB.Class = "lid", "lid/cavity/flush-ledge"
	for _, m := range []record.Mold{everybody, ofA, ofB} {
		must(t, s.Molds().Insert(ctx, shop, m))
		got, err := s.Molds().Get(ctx, shop, m.ID)
		must(t, err)
		same(t, "mold", got, m)
	}
	for _, scope := range []store.Scope{{}, store.HouseScope(), store.DealerScope(*a)} {
		expect(t, "insert as "+scope.String(), s.Molds().Insert(ctx, scope, mold(20, scope.Dealer())), store.ErrOutOfScope)
		expect(t, "update as "+scope.String(), s.Molds().Update(ctx, scope, everybody, 1), store.ErrOutOfScope)
	}
	expect(t, "the same id", s.Molds().Insert(ctx, shop, mold(10, nil)), store.ErrConflict)
	again := mold(21, nil)
	again.Tag = everybody.Tag
	expect(t, "the same tag", s.Molds().Insert(ctx, shop, again), store.ErrConflict)
	expect(t, "no such dealer", s.Molds().Insert(ctx, shop, mold(22, ptr(uid(77)))), store.ErrNotFound)
	again = mold(23, nil)
	again.ConfigurationID = ptr(uid(77))
	expect(t, "no such configuration", s.Molds().Insert(ctx, shop, again), store.ErrNotFound)
	for what, change := range map[string]func(*record.Mold){
		"no id": func(m *record.Mold) { m.ID = uuid.Nil }, "no state": func(m *record.Mold) { m.State = "" }, "pulls": func(m *record.Mold) { m.RemainingPulls = -1 },
		"turned": func(m *record.Mold) { m.Short = 600 }, "no number": func(m *record.Mold) { m.Long = math.NaN() }, "no face": func(m *record.Mold) { m.Face = nil },
	} {
		m := mold(24, nil)
		change(&m)
		expect(t, what, s.Molds().Insert(ctx, shop, m), store.ErrInvalid)
	}

	// Who may have parts from which.
	for _, c := range []struct {
		scope store.Scope
		want  []uuid.UUID
	}{
		{shop, []uuid.UUID{ofB.ID, ofA.ID, everybody.ID}}, {store.HouseScope(), []uuid.UUID{everybody.ID}},
		{store.DealerScope(*a), []uuid.UUID{ofA.ID, everybody.ID}}, {store.DealerScope(*b), []uuid.UUID{ofB.ID, everybody.ID}}, {store.Scope{}, []uuid.UUID{}},
	} {
		list, err := s.Molds().List(ctx, c.scope, store.MoldFilter{}, store.Page{})
		must(t, err)
		same(t, "molds of "+c.scope.String(), moldIDs(list.Items), c.want)
		exact, err := s.Molds().Exact(ctx, c.scope, []string{everybody.Fingerprint, ofA.Fingerprint, ofB.Fingerprint})
		must(t, err)
		same(t, "exact for "+c.scope.String(), len(exact), len(c.want))
		sets, err := s.Molds().OfSets(ctx, c.scope, []string{"sha256:set"})
		must(t, err)
		same(t, "of the set for "+c.scope.String(), len(sets), len(c.want))
		for _, m := range []record.Mold{everybody, ofA, ofB} {
			_, err := s.Molds().Get(ctx, c.scope, m.ID)
			if slices.Contains(c.want, m.ID) {
				must(t, err)
			} else {
				expect(t, "get as "+c.scope.String(), err, store.ErrNotFound)
			}
		}
	}
	for _, none := range [][]string{nil, {}, {"sha256:none"}} {
		exact, err := s.Molds().Exact(ctx, shop, none)
		must(t, err)
		same(t, "exact of none", moldIDs(exact), []uuid.UUID{})
	}
	for _, c := range []struct {
		filter store.MoldFilter
		want   []uuid.UUID
	}{{store.MoldFilter{DealerID: a}, []uuid.UUID{ofA.ID}}, {store.MoldFilter{Part: "lid"}, []uuid.UUID{ofB.ID}},
		{store.MoldFilter{State: record.MoldRetired}, []uuid.UUID{}}, {store.MoldFilter{Set: "sha256:set", Part: "receiver"}, []uuid.UUID{ofA.ID, everybody.ID}}} {
		list, err := s.Molds().List(ctx, shop, c.filter, store.Page{})
		must(t, err)
		same(t, "molds "+show(c.filter), moldIDs(list.Items), c.want)
	}

	// Changes go by version; what a mold is stays.
	m := everybody
	m.Version, m.RemainingPulls, m.Pulls, m.State, m.Location, m.Note, m.Tag, m.UpdatedAt = 2, 19, 4, record.MoldInUse, "booth", "", "", at(500)
	changed := m
	changed.Long, changed.Fingerprint, changed.DealerID = 521, "other", a
	must(t, s.Molds().Update(ctx, shop, changed, 1))
	got, err := s.Molds().Get(ctx, shop, m.ID)
	must(t, err)
	same(t, "changed mold", got, m)
	expect(t, "an old version", s.Molds().Update(ctx, shop, m, 1), store.ErrStaleVersion)
	unknown := mold(99, nil)
	expect(t, "an unknown mold", s.Molds().Update(ctx, shop, unknown, 1), store.ErrNotFound)
	m.Version, m.Tag = 3, ofA.Tag
	expect(t, "a tag that is taken", s.Molds().Update(ctx, shop, m, 2), store.ErrConflict)

	// Retired and worn-out molds are not found for work, and their tags are free.
	ofA.Version, ofA.State = 2, record.MoldRetired
	must(t, s.Molds().Update(ctx, shop, ofA, 1))
	ofB.Version, ofB.RemainingPulls = 2, 0
	must(t, s.Molds().Update(ctx, shop, ofB, 1))
	exact, err := s.Molds().Exact(ctx, shop, []string{everybody.Fingerprint, ofA.Fingerprint, ofB.Fingerprint})
	must(t, err)
	same(t, "left to work with", moldIDs(exact), []uuid.UUID{everybody.ID})
	must(t, s.Molds().Update(ctx, shop, m, 2))
}

// What Near finds is what a scan in memory finds, nearest first, whoever asks.
func testMoldsNear(t *testing.T, h Harness) {
	s, ctx := h.Migrated(t), t.Context()
	a, b := withDealers(t, s)
	shop := store.ShopScope()
	random := rand.New(rand.NewPCG(5, 6))
	var stored []record.Mold
	must(t, s.InTx(ctx, func(tx store.Tx) error {
		for n := range 400 {
			m := mold(1000+n, []*uuid.UUID{nil, nil, a, b}[random.IntN(4)])
			m.Class = []string{"receiver/plug/flush-ledge", "lid/cavity/flush-ledge"}[random.IntN(2)]
			m.Short = 350 + float64(random.IntN(60000))/1000
			m.Long = m.Short + 100 + float64(random.IntN(60))
			if random.IntN(10) == 0 {
				m.State = record.MoldRetired
			}
			if random.IntN(10) == 0 {
				m.RemainingPulls = 0
			}
			stored = append(stored, m)
			if err := tx.Molds().Insert(ctx, shop, m); err != nil {
				return err
			}
		}
		return nil
	}))
	found := 0
	for range 60 {
		bounds := around(float64(random.IntN(60)-30), []float64{0, 2, 5, 25, 50}[random.IntN(5)])
		scope := []store.Scope{shop, store.HouseScope(), store.DealerScope(*a), {}}[random.IntN(4)]
		limit := []int{0, 3, 1000}[random.IntN(3)]
		var want []record.Mold
		for _, m := range stored {
			usable := scope.Whole() || scope != (store.Scope{}) && (m.DealerID == nil || scope.Covers(m.DealerID))
			if usable && m.Class == bounds.Class && m.State != record.MoldRetired && m.RemainingPulls > 0 && m.Long >= bounds.LongLeast && m.Long <= bounds.LongMost &&
				m.Short >= bounds.ShortLeast && m.Short <= bounds.ShortMost {
				want = append(want, m)
			}
		}
		off := func(m record.Mold) float64 {
			return max(math.Abs(m.Long-(bounds.LongLeast+bounds.LongMost)/2), math.Abs(m.Short-(bounds.ShortLeast+bounds.ShortMost)/2))
		}
		slices.SortFunc(want, func(x, y record.Mold) int {
			return cmp.Or(cmp.Compare(off(x), off(y)), slices.Compare(x.ID[:], y.ID[:]))
		})
		got, err := s.Molds().Near(ctx, scope, bounds, limit)
		must(t, err)
		same(t, fmt.Sprintf("near %v for %v, at most %d", bounds, scope, limit), moldIDs(got), moldIDs(want[:min(limit, len(want))]))
		found += len(got)
	}
	if found == 0 {
		t.Error("nothing was ever near")
	}
}
