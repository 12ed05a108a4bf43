package schedule

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/civil"
)

// A lane against a row of booleans, one per second, through enough takes that
// chunks split and empty.
func TestLaneAgainstRow(t *testing.T) {
	splits := 0
	rapid.Check(t, func(t *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 0))
		const total = 6000
		longest := int32(rapid.IntRange(2, 30).Draw(t, "longest"))
		l := newLane(total)
		busy := make([]bool, total)
		fits := func(s, n int32) bool {
			return s+n <= total && !slices.Contains(busy[s:s+n], true)
		}
		for range 1200 {
			p, n := int32(rng.IntN(total+10)), 1+rng.Int32N(longest)
			want := int32(-1)
			for s := p; s+n <= total; s++ {
				if fits(s, n) {
					want = s
					break
				}
			}
			got := l.find(p, n, never)
			if got != want {
				t.Fatalf("find(%d, %d) = %d, want %d", p, n, got, want)
			}
			limit := rng.Int32N(total)
			if k := l.find(p, n, limit); k != want && (want >= 0 && want < limit || k >= 0 && k < limit) {
				t.Fatalf("find(%d, %d) before %d = %d, want %d", p, n, limit, k, want)
			}
			if got < 0 {
				continue
			}
			l.take(got, got+n, 0)
			for s := got; s < got+n; s++ {
				busy[s] = true
			}
			splits = max(splits, len(l.chunks))
		}
		b := board{lanes: [][]lane{{newLane(5), l}}}
		kept := l
		rows := [][][]row{{{{}}, {{}}}}
		future := b.freeze(rows, 0)
		for range 300 {
			p, n, limit := int32(rng.IntN(total)), 1+rng.Int32N(longest), rng.Int32N(total)
			if got, want := rows[0][1][0].find(&future, p, n, never), kept.find(p, n, never); got != want {
				t.Fatalf("frozen find(%d, %d) = %d, want %d", p, n, got, want)
			} else if k := rows[0][1][0].find(&future, p, n, limit); k != want && (want >= 0 && want < limit || k >= 0 && k < limit) {
				t.Fatalf("frozen find(%d, %d) before %d = %d, want %d", p, n, limit, k, want)
			}
		}
		last := int32(0)
		for c, k := range l.chunks {
			if len(k) == 0 || len(k) >= chunkSize || l.heads[c] != summary(k) {
				t.Fatalf("chunk %d of %d gaps, head %+v, summary %+v", c, len(k), l.heads[c], summary(k))
			}
			for _, g := range k {
				if g.start < last || g.end <= g.start {
					t.Fatalf("gap %+v after %d", g, last)
				}
				last = g.end
			}
		}
		if l.tail.start < last || l.tail.end != total {
			t.Fatalf("tail %+v after %d", l.tail, last)
		}
	})
	if splits < 9 {
		t.Errorf("at most %d chunks: the search over heads was not tried", splits)
	}
}

// Dropped gaps are lost as capacity and nothing else is.
func TestLaneDropsShortGaps(t *testing.T) {
	l := newLane(100)
	l.take(5, 20, 10)
	l.take(35, 95, 10)
	if got := l.chunks[0]; !slices.Equal(got, []gap{{20, 35}}) || l.tail != (gap{100, 100}) {
		t.Errorf("gaps %v, tail %v", got, l.tail)
	}
	l.take(20, 35, 10)
	if l.find(0, 1, never) != -1 || l.gaps() != 0 {
		t.Errorf("a full lane still has %v", l.chunks)
	}
	if k := newLane(0); k.find(0, 1, never) != -1 {
		t.Error("an empty lane has room")
	}
}

// The work axis against the calendar it was compiled from.
func TestAxisAgainstCalendar(t *testing.T) {
	var shifts []Shift
	for d := time.Monday; d <= time.Friday; d++ {
		shifts = append(shifts, Shift{d, 8 * time.Hour, 12 * time.Hour}, Shift{d, 13 * time.Hour, 17 * time.Hour}, Shift{d, 20 * time.Hour, 26 * time.Hour})
	}
	c, err := NewCalendar(time.FixedZone("shop", -5*3600), shifts, []Closure{{From: civil.Date{Year: 2026, Month: 7, Day: 3}, To: civil.Date{Year: 2026, Month: 7, Day: 20}}})
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		origin := time.Date(2026, 6, 1, 0, 0, rapid.IntRange(0, 10*secondsPerDay).Draw(t, "origin"), 0, time.UTC)
		a := newAxis(c, origin, 1)
		at := int32(rapid.IntRange(0, 370*secondsPerDay).Draw(t, "clock"))
		when := func(s int32) time.Time { return origin.Add(time.Duration(s) * time.Second) }
		limit := origin.AddDate(1, 0, 0)
		want := c.WorkBetween(origin, when(at))
		if when(at).After(limit) {
			want = c.WorkBetween(origin, limit)
		}
		if got := time.Duration(a.work(at)) * time.Second; got != want {
			t.Fatalf("work(%d) = %v, calendar %v", at, got, want)
		}
		w := int32(rapid.IntRange(0, int(a.total)-1).Draw(t, "work"))
		end, err := c.AddWork(origin, time.Duration(w)*time.Second)
		if err != nil {
			t.Fatal(err)
		}
		if w > 0 && !when(a.end(w)).Equal(end) {
			t.Fatalf("end(%d) = %v, calendar %v", w, when(a.end(w)), end)
		}
		if begin := c.Next(end); !when(a.begin(w)).Equal(begin) {
			t.Fatalf("begin(%d) = %v, calendar %v", w, when(a.begin(w)), begin)
		}
	})
}
