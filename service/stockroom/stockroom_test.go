package stockroom_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/civil"
	"hatchwright/service/stockroom"
)

func day(n int) civil.Date { return civil.Date{Year: 2027, Month: time.March, Day: 1}.AddDays(n) }

func on(n int) *civil.Date { d := day(n); return &d }

func reason(err error) stockroom.Reason {
	var r *stockroom.Refusal
	if errors.As(err, &r) {
		return r.Reason
	}
	return ""
}

func TestAmounts(t *testing.T) {
	for _, c := range []struct {
		text string
		want stockroom.Amount
		back string
	}{
		{"12.5", 12_500_000, "12.5"}, {"0.000001", 1, "0.000001"}, {"-3", -3_000_000, "-3"}, {"0012.50", 12_500_000, "12.5"},
		{"1000000000", stockroom.Largest, "1000000000"}, {"-0", 0, "0"},
	} {
		got, err := stockroom.Parse(c.text)
		if err != nil || got != c.want || got.String() != c.back {
			t.Errorf("%q is %d (%v), %v", c.text, got, got, err)
		}
	}
	for _, text := range []string{"", "-", ".", "1.", ".5", "1e3", "1,5", "0.0000001", "1000000000.000001", "99999999999", " 1", "+1", "--1", "１", "1.5.0"} {
		if got, err := stockroom.Parse(text); reason(err) != stockroom.WrongAmount {
			t.Errorf("%q is %v, %v", text, got, err)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a := stockroom.Amount(rapid.Int64Range(-int64(stockroom.Largest), int64(stockroom.Largest)).Draw(t, "a"))
		back, err := stockroom.Parse(a.String())
		if err != nil || back != a {
			t.Fatalf("%d was written %v and read as %d, %v", a, a, back, err)
		}
		// float64 holds millionths of up to a billion to within a tenth of one.
		if near, err := stockroom.Of(a.Float()); err != nil || near-a > 1 || a-near > 1 {
			t.Fatalf("%d by way of a float is %d, %v", a, near, err)
		}
	})
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{"12.5", "-0.000001", "1e9", "", "1000000000"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		a, err := stockroom.Parse(s)
		if err != nil {
			return
		}
		if b, err := stockroom.Parse(a.String()); err != nil || b != a {
			t.Errorf("%q is %v and then %v, %v", s, a, b, err)
		}
	})
}

func TestMovesRefused(t *testing.T) {
	u := func(n int) stockroom.Amount { return stockroom.Amount(n) * stockroom.Unit }
	lot := stockroom.Standing{OnHand: u(10), Reserved: u(4), Own: u(3), Expires: on(5)}
	for _, c := range []struct {
		name   string
		kind   stockroom.Kind
		amount stockroom.Amount
		order  bool
		today  int
		want   stockroom.Reason
		change stockroom.Change
	}{
		{"issue of what is free", stockroom.Issue, u(6), false, 0, "", stockroom.Change{OnHand: -u(6)}},
		{"issue of what is reserved", stockroom.Issue, u(7), false, 0, stockroom.Reserved, stockroom.Change{}},
		{"issue below zero", stockroom.Issue, u(11), false, 0, stockroom.BelowZero, stockroom.Change{}},
		{"issue to its order", stockroom.Issue, u(3), true, 0, "", stockroom.Change{OnHand: -u(3), Reserved: -u(3)}},
		{"issue beyond its reservation", stockroom.Issue, u(4), true, 0, stockroom.NotReserved, stockroom.Change{}},
		{"scrap below zero", stockroom.Scrap, u(11), false, 0, stockroom.BelowZero, stockroom.Change{}},
		{"scrap of an old lot", stockroom.Scrap, u(6), false, 9, "", stockroom.Change{OnHand: -u(6)}},
		{"reserve on the last day", stockroom.Reserve, u(6), true, 5, "", stockroom.Change{Reserved: u(6)}},
		{"reserve a day after", stockroom.Reserve, u(1), true, 6, stockroom.Expired, stockroom.Change{}},
		{"reserve what is reserved", stockroom.Reserve, u(7), true, 0, stockroom.Reserved, stockroom.Change{}},
		{"release", stockroom.Release, u(3), true, 9, "", stockroom.Change{Reserved: -u(3)}},
		{"release of another's", stockroom.Release, u(4), true, 0, stockroom.NotReserved, stockroom.Change{}},
		{"count less", stockroom.Count, -u(6), false, 0, "", stockroom.Change{OnHand: -u(6)}},
		{"count less than reserved", stockroom.Count, -u(7), false, 0, stockroom.Reserved, stockroom.Change{}},
		{"count below zero", stockroom.Count, -u(11), false, 0, stockroom.BelowZero, stockroom.Change{}},
		{"nothing", stockroom.Return, 0, false, 0, stockroom.WrongAmount, stockroom.Change{}},
		{"less than nothing", stockroom.Receive, -u(1), false, 0, stockroom.WrongAmount, stockroom.Change{}},
		{"beyond measure", stockroom.Return, stockroom.Largest, false, 0, stockroom.WrongAmount, stockroom.Change{}},
		{"another kind", "lend", u(1), false, 0, stockroom.NoKind, stockroom.Change{}},
	} {
		got, err := lot.Change(c.kind, c.amount, c.order, day(c.today))
		if reason(err) != c.want || err == nil && got != c.change {
			t.Errorf("%s: %+v, %v", c.name, got, err)
		}
		if err != nil && !strings.HasSuffix(err.Error(), ".") {
			t.Errorf("%s: %q is no sentence", c.name, err)
		}
	}
}

// Whatever is moved, a lot never has less than nothing, nor less than is reserved.
func TestMovesProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s stockroom.Standing
		owned := map[int]stockroom.Amount{}
		for range rapid.IntRange(1, 60).Draw(t, "moves") {
			order := rapid.IntRange(0, 2).Draw(t, "order")
			s.Own = owned[order]
			kind := rapid.SampledFrom(stockroom.Kinds).Draw(t, "kind")
			c, err := s.Change(kind, stockroom.Amount(rapid.Int64Range(-30, 60).Draw(t, "amount")), order > 0, day(0))
			if err != nil {
				continue
			}
			s.OnHand, s.Reserved, owned[order] = s.OnHand+c.OnHand, s.Reserved+c.Reserved, owned[order]+c.Reserved
			if s.OnHand < 0 || s.Reserved < 0 || s.Reserved > s.OnHand || owned[order] < 0 || owned[0]+owned[1]+owned[2] != s.Reserved {
				t.Fatalf("after %s: %+v, owned %v", kind, s, owned)
			}
		}
	})
}

func TestAllocateOldestFirst(t *testing.T) {
	lots := []stockroom.Lot{
		{ID: "never", Material: "resin", Free: 100, Received: day(-90)},
		{ID: "late", Material: "resin", Free: 10, Received: day(-20), Expires: on(60)},
		{ID: "soon", Material: "resin", Free: 10, Received: day(-10), Expires: on(3)},
		{ID: "gone", Material: "resin", Free: 50, Received: day(-80), Expires: on(-1)},
		{ID: "other", Material: "wax", Free: 5, Received: day(-80)},
	}
	got := stockroom.Allocate(lots, []stockroom.Demand{
		{Order: "B", Material: "resin", Amount: 12, On: day(5)}, // after "soon" has ended
		{Order: "A", Material: "resin", Amount: 14, On: day(2)},
		{Order: "A", Material: "wax", Amount: 7, On: day(2)},
	})
	want := "[{late 0.000006} {never 0.000006}] 0; [{soon 0.00001} {late 0.000004}] 0; [{other 0.000005}] 2"
	if text := fmt.Sprintf("%v %d; %v %d; %v %d", got[0].Takes, got[0].Short, got[1].Takes, got[1].Short, got[2].Takes, got[2].Short); text != want {
		t.Errorf("%s, want %s", text, want)
	}
}

// Against exhaustive search: no other way of handing out single units leaves less
// short.
func TestAllocateIsBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var lots []stockroom.Lot
		for i := range rapid.IntRange(0, 5).Draw(t, "lots") {
			l := stockroom.Lot{ID: fmt.Sprint(i), Material: "m", Free: stockroom.Amount(rapid.IntRange(0, 2).Draw(t, "free"))}
			if rapid.Bool().Draw(t, "ages") {
				l.Expires = on(rapid.IntRange(-1, 6).Draw(t, "expires"))
			}
			lots = append(lots, l)
		}
		var demands []stockroom.Demand
		for range rapid.IntRange(0, 5).Draw(t, "demands") {
			demands = append(demands, stockroom.Demand{Material: "m", Amount: stockroom.Amount(rapid.IntRange(0, 2).Draw(t, "amount")), On: day(rapid.IntRange(0, 6).Draw(t, "on"))})
		}
		met := stockroom.Allocate(lots, demands)
		short, used := stockroom.Amount(0), map[string]stockroom.Amount{}
		for _, m := range met {
			sum := m.Short
			for _, take := range m.Takes {
				sum += take.Amount
				used[take.Lot] += take.Amount
				for _, l := range lots {
					if l.ID == take.Lot && stockroom.Past(l.Expires, m.On) {
						t.Fatalf("lot %s was taken on %v, after %v", l.ID, m.On, *l.Expires)
					}
				}
			}
			if sum != m.Amount {
				t.Fatalf("takes and shortage of %+v add up to %d", m, sum)
			}
			short += m.Short
		}
		for _, l := range lots {
			if used[l.ID] > l.Free {
				t.Fatalf("%d of the %d of lot %s", used[l.ID], l.Free, l.ID)
			}
		}
		var units []stockroom.Demand
		for _, d := range demands {
			for range d.Amount {
				units = append(units, d)
			}
		}
		free := make([]stockroom.Amount, len(lots))
		for i, l := range lots {
			free[i] = l.Free
		}
		var best func(k int) int
		best = func(k int) int {
			if k == len(units) {
				return 0
			}
			least := 1 + best(k+1)
			for i, l := range lots {
				if free[i] > 0 && !stockroom.Past(l.Expires, units[k].On) {
					free[i]--
					least = min(least, best(k+1))
					free[i]++
				}
			}
			return least
		}
		if len(units) <= 6 {
			if b := best(0); stockroom.Amount(b) != short {
				t.Fatalf("%d short, the best is %d", short, b)
			}
		}
	})
}

// A shop that works Monday to Friday and is closed from 8 to 12 March 2027, a
// week. 1 March 2027 is a Monday.
type week struct{}

func (week) IsWorkingDay(d civil.Date) bool {
	closed := d.Compare(day(7)) >= 0 && d.Compare(day(11)) <= 0
	return d.Weekday() != time.Saturday && d.Weekday() != time.Sunday && !closed
}

// Counted by hand on the calendar.
func TestOrderDates(t *testing.T) {
	for _, c := range []struct{ needed, lead, want int }{
		{4, 3, 1},    // Friday 5: order on Tuesday 2
		{4, 0, 4},    // from the shelf
		{6, 3, 1},    // Sunday 7: it has to come on Friday 5
		{14, 1, 4},   // Monday 15, after the closure: Friday 5
		{9, 2, 2},    // within the closure: Friday 5 less 2
		{15, 10, -6}, // Tuesday 16: Mon 15, Fri 5 to Mon 1, Fri 26 to Tue 23 Feb
	} {
		got, ok := stockroom.LatestOrder(week{}, day(c.needed), c.lead)
		if !ok || got != day(c.want) {
			t.Errorf("needed on day %d, lead %d: order by %v, want %v", c.needed, c.lead, got, day(c.want))
		}
	}
	if got, ok := stockroom.Arrival(week{}, day(5), 1); !ok || got != day(15) { // Saturday counts as Monday 15
		t.Errorf("ordered on Saturday 6 it arrives on %v", got)
	}
	never := closedFor(func(civil.Date) bool { return false })
	if _, ok := stockroom.LatestOrder(never, day(0), 1); ok {
		t.Error("a shop that never opens orders")
	}
	if _, ok := stockroom.Arrival(never, day(0), 1); ok {
		t.Error("a shop that never opens receives")
	}
}

type closedFor func(civil.Date) bool

func (c closedFor) IsWorkingDay(d civil.Date) bool { return c(d) }

// The latest day comes in time, the next working day does not.
func TestLatestOrderProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		open := rapid.SliceOfN(rapid.Bool(), 9, 9).Draw(t, "open")
		open[0] = true
		days := closedFor(func(d civil.Date) bool {
			n := int(d.At(0, time.UTC).Unix() / 86400)
			return open[n%len(open)]
		})
		lead, needed := rapid.IntRange(0, 20).Draw(t, "lead"), day(rapid.IntRange(0, 30).Draw(t, "needed"))
		last, ok := stockroom.LatestOrder(days, needed, lead)
		if !ok || !days.IsWorkingDay(last) {
			t.Fatalf("%v, %v", last, ok)
		}
		if a, ok := stockroom.Arrival(days, last, lead); !ok || a.Compare(needed) > 0 {
			t.Fatalf("ordered on %v it arrives on %v, after %v", last, a, needed)
		}
		next := last.AddDays(1)
		if a, ok := stockroom.Arrival(days, next, lead); ok && a.Compare(needed) <= 0 {
			t.Fatalf("ordered on %v it would still arrive on %v", next, a)
		}
	})
}

func TestSuggest(t *testing.T) {
	u := stockroom.Unit
	met := stockroom.Allocate(nil, []stockroom.Demand{
		{Order: "B", Material: "resin", Amount: 21 * u, On: day(14)}, {Order: "A", Material: "resin", Amount: 20 * u, On: day(4)},
		{Order: "A", Material: "hinge", Amount: 2 * u, On: day(15)}, {Order: "C", Material: "wax", Amount: 0, On: day(1)},
	})
	got, err := stockroom.Suggest(met, map[string]stockroom.Source{
		"resin": {Supplier: "S", LeadDays: 4, Pack: 20 * u}, "hinge": {LeadDays: 2, LeastPacks: 10},
	}, week{}, day(1))
	if err != nil || len(got) != 2 {
		t.Fatal(got, err)
	}
	r, h := got[0], got[1]
	// Resin: Friday 5 less 4 is Monday 1, yesterday; ordered today, Tuesday 2, the
	// fourth working day is Monday 15, after the closure.
	if r.Material != "resin" || r.Short != 41*u || r.Packs != 3 || r.Amount != 60*u || r.OrderBy != day(0) || !r.Late || r.Arrives != day(14) || fmt.Sprint(r.Orders) != "[A B]" {
		t.Errorf("resin: %+v", r)
	}
	if h.Packs != 10 || h.OrderBy != day(4) || h.Late || h.Arrives != day(15) {
		t.Errorf("hinges: %+v", h)
	}
	if _, err := stockroom.Suggest(met, nil, week{}, day(1)); err == nil || !strings.Contains(err.Error(), "purchasing") {
		t.Errorf("without sources: %v", err)
	}
}

func ExampleAllocate() {
	soon := civil.Date{Year: 2027, Month: 3, Day: 10}
	met := stockroom.Allocate([]stockroom.Lot{
		{ID: "drum 8", Material: "resin", Free: 20 * stockroom.Unit},
		{ID: "drum 7", Material: "resin", Free: 5 * stockroom.Unit, Expires: &soon},
	}, []stockroom.Demand{{Material: "resin", Amount: 8 * stockroom.Unit, On: soon}})
	for _, t := range met[0].Takes {
		fmt.Println(t.Lot, t.Amount)
	}
	// Output:
	// drum 7 5
	// drum 8 3
}
