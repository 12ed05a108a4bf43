package order

import (
	"encoding/json"
	"errors"
	"flag"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/govalues/decimal"
	"pgregory.net/rapid"

	"hatchwright/service/money"
	"hatchwright/service/record"
)

var update = flag.Bool("update", false, "rewrite steps.md from the table")

const stepsHead = "<!-- Written by the test of this package from the table in steps.go; go test ./service/order -update -->\n\n"

// The table in the docs is the table in the code.
func TestStepsAreDocumented(t *testing.T) {
	want := stepsHead + Table()
	if *update {
		if err := os.WriteFile("steps.md", []byte(want), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	got, err := os.ReadFile("steps.md")
	if err != nil {
		t.Fatal(err)
	}
	if string(got) != want {
		t.Error("steps.md is not what the table says: go test ./service/order -update")
	}
}

// What may happen to an order, by hand: for each state (and kind of hold) the
// actions of a dealer, and what the shop may do beyond (shop rules, written down
// anew here).
func TestFind(t *testing.T) {
	held := func(from record.OrderState, by record.Role) record.Order {
		return record.Order{State: record.OrderOnHold, HeldFrom: from, HeldBy: by}
	}
	actions := []Action{Schedule, Start, RecordWork, Finish, Hold, Release, Cancel, Ship, PromiseAnew}
	for _, c := range []struct {
		order      record.Order
		dealer     []Action
		shopBeyond []Action
	}{
		{record.Order{State: record.OrderReceived}, []Action{Hold, Cancel}, []Action{Schedule, Start, PromiseAnew}},
		{record.Order{State: record.OrderScheduled}, []Action{Hold, Cancel}, []Action{Schedule, Start, PromiseAnew}},
		{record.Order{State: record.OrderInWork}, nil, []Action{RecordWork, Finish, Hold, Cancel, PromiseAnew}},
		{record.Order{State: record.OrderReady}, nil, []Action{Cancel, Ship}},
		{record.Order{State: record.OrderShipped}, nil, nil},
		{record.Order{State: record.OrderCancelled}, nil, nil},
		{held(record.OrderReceived, record.RoleDealer), []Action{Release, Cancel}, []Action{PromiseAnew}},
		{held(record.OrderScheduled, record.RoleShop), []Action{Cancel}, []Action{Release, PromiseAnew}},
		{held(record.OrderInWork, record.RoleShop), nil, []Action{Release, Cancel, PromiseAnew}},
	} {
		for _, a := range actions {
			_, err := Find(a, c.order, record.RoleDealer)
			var r *Refusal
			switch {
			case slices.Contains(c.dealer, a):
				if err != nil {
					t.Errorf("%s: a dealer may %s: %v", describe(c.order), a, err)
				}
			case !errors.As(err, &r):
				t.Errorf("%s: a dealer may not %s: %v", describe(c.order), a, err)
			case c.order.State.Closed() && r.Reason != OrderClosed,
				slices.Contains(c.shopBeyond, a) && r.Reason != NotYours,
				!c.order.State.Closed() && !slices.Contains(c.shopBeyond, a) && r.Reason != WrongState:
				t.Errorf("%s, %s: the reason is %s", describe(c.order), a, r.Reason)
			}
			_, err = Find(a, c.order, record.RoleShop)
			if may := slices.Contains(c.dealer, a) || slices.Contains(c.shopBeyond, a); may != (err == nil) {
				t.Errorf("%s: the shop may %s: %v, and %v", describe(c.order), a, may, err)
			}
			if _, err := Find(a, c.order, record.RoleStorefront); err == nil {
				t.Errorf("%s: a storefront may %s", describe(c.order), a)
			}
		}
		if _, err := Find(Place, c.order, record.RoleShop); err == nil {
			t.Errorf("%s: placed again", describe(c.order))
		}
	}
}

// Whatever is done, in whatever order: the state is one of the seven, a hold
// remembers where it came from and by whom exactly while it lasts, the version
// rises by one with each step, and what is closed stays closed.
func TestStepsProperty(t *testing.T) {
	actions := []Action{Place, Schedule, Start, RecordWork, Finish, Hold, Release, Cancel, Ship, PromiseAnew}
	rapid.Check(t, func(t *rapid.T) {
		var o record.Order
		for range rapid.IntRange(1, 30).Draw(t, "steps") {
			a := rapid.SampledFrom(actions).Draw(t, "action")
			role := rapid.SampledFrom([]record.Role{record.RoleDealer, record.RoleShop}).Draw(t, "role")
			step, err := Find(a, o, role)
			if err != nil {
				continue
			}
			if o.State.Closed() {
				t.Fatalf("%s of an order that is %s", a, o.State)
			}
			next := step.Apply(o, role)
			if !next.State.Valid() || next.Version != o.Version+1 {
				t.Fatalf("%s from %q gives %q, version %d after %d", a, o.State, next.State, next.Version, o.Version)
			}
			if (next.State == record.OrderOnHold) != (next.HeldFrom != "") || (next.HeldFrom != "") != (next.HeldBy != "") {
				t.Fatalf("%s: %+v", a, next)
			}
			if a == Release && next.State != o.HeldFrom {
				t.Fatalf("released to %s, held from %s", next.State, o.HeldFrom)
			}
			if !Known(string(step.Event)) {
				t.Fatalf("%s emits %q, which is no kind", a, step.Event)
			}
			o = next
		}
	})
}

func TestKinds(t *testing.T) {
	seen := map[Kind]bool{}
	for _, k := range Kinds {
		noun, verb, ok := strings.Cut(string(k.Kind), ".")
		if !ok || noun == "" || verb == "" || k.Meaning == "" || seen[k.Kind] {
			t.Errorf("%q: %q", k.Kind, k.Meaning)
		}
		seen[k.Kind] = true
	}
	if Known("order.eaten") || Known("") {
		t.Error("anything is known")
	}
}

var noon = time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)

func in(d time.Duration) *time.Time { t := noon.Add(d); return &t }

func TestValidUntil(t *testing.T) {
	const day = 24 * time.Hour
	for _, c := range []struct {
		asked *time.Time
		role  record.Role
		want  *time.Time // nil: refused
	}{
		{nil, record.RoleStorefront, in(14 * day)},
		{in(time.Hour), record.RoleDealer, in(time.Hour)},
		{in(14 * day), record.RoleDealer, in(14 * day)},
		{in(14*day + 1), record.RoleDealer, nil},
		{in(90 * day), record.RoleShop, in(90 * day)},
		{in(90*day + 1), record.RoleShop, nil},
		{in(0), record.RoleShop, nil},
		{in(-1), record.RoleDealer, nil},
	} {
		got, err := ValidUntil(noon, c.asked, c.role)
		if (err == nil) != (c.want != nil) || err == nil && !got.Equal(*c.want) {
			t.Errorf("%v as %s: %v, %v", c.asked, c.role, got, err)
		}
	}
}

func TestOpen(t *testing.T) {
	for _, c := range []struct {
		state record.QuoteState
		until time.Duration
		want  Reason
		shown record.QuoteState
	}{
		{record.QuoteOpen, 1, "", record.QuoteOpen},
		{record.QuoteOpen, 0, QuoteExpired, record.QuoteExpired},
		{record.QuoteOpen, -time.Hour, QuoteExpired, record.QuoteExpired},
		{record.QuoteOrdered, -time.Hour, QuoteOrdered, record.QuoteOrdered},
		{record.QuoteWithdrawn, time.Hour, QuoteWithdrawn, record.QuoteWithdrawn},
	} {
		q := record.Quote{State: c.state, ValidUntil: noon.Add(c.until)}
		err := Open(q, noon)
		var r *Refusal
		if errors.As(err, &r); (err == nil) != (c.want == "") || err != nil && r.Reason != c.want || StateAt(q, noon) != c.shown {
			t.Errorf("%+v: %v, %s", c, err, StateAt(q, noon))
		}
	}
}

func TestCheckWork(t *testing.T) {
	hours := func(h float64) *float64 { return &h }
	for what, c := range map[string]struct {
		started  time.Time
		finished *time.Time
		hours    *float64
		ok       bool
	}{
		"begun":                 {noon, nil, nil, true},
		"finished":              {noon.Add(-time.Hour), in(0), hours(1.5), true},
		"at once":               {noon, in(0), hours(0), true},
		"a clock a bit ahead":   {noon.Add(time.Minute), nil, nil, true},
		"tomorrow":              {noon.Add(24 * time.Hour), nil, nil, false},
		"in the year 1":         {time.Date(1, 1, 1, 0, 0, 0, 0, time.UTC), nil, nil, false},
		"in 1999":               {time.Date(1999, 12, 31, 23, 59, 59, 0, time.UTC), nil, nil, false},
		"ends in the year 1":    {noon, &time.Time{}, nil, false},
		"ends tomorrow":         {noon, in(24 * time.Hour), nil, false},
		"backwards":             {noon, in(-1), nil, false},
		"hours of what goes on": {noon, nil, hours(1), false},
		"less than none":        {noon.Add(-time.Hour), in(0), hours(-1), false},
		"a year":                {noon.Add(-time.Hour), in(0), hours(2001), false},
	} {
		if err := CheckWork(c.started, c.finished, c.hours, noon); (err == nil) != c.ok {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func TestRecord(t *testing.T) {
	plan := []record.Operation{{Key: "1-wax"}, {Key: "1-trim"}}
	begun := record.OperationRecord{Operation: "1-wax", StartedAt: noon}
	done := begun
	done.FinishedAt = in(time.Hour)
	other := done
	other.FinishedAt = in(2 * time.Hour)
	reason := func(err error) Reason {
		var r *Refusal
		if errors.As(err, &r) {
			return r.Reason
		}
		return ""
	}
	list, same, err := Record(plan, nil, begun)
	if err != nil || same || len(list) != 1 {
		t.Fatal(list, same, err)
	}
	if _, same, err := Record(plan, list, begun); err != nil || !same {
		t.Error("the same again:", same, err)
	}
	list, same, err = Record(plan, list, done)
	if err != nil || same || len(list) != 1 || Finished(list) != 1 {
		t.Error("finished:", list, same, err)
	}
	if _, same, err := Record(plan, list, done); err != nil || !same {
		t.Error("finished again:", same, err)
	}
	for _, e := range []record.OperationRecord{other, begun} {
		if _, _, err := Record(plan, list, e); reason(err) != RecordFinal {
			t.Error("changed after it was finished:", err)
		}
	}
	if _, _, err := Record(plan, list, record.OperationRecord{Operation: "2-wax", StartedAt: noon}); reason(err) != NoSuchOperation {
		t.Error("not planned:", err)
	}
}

func TestNewEvent(t *testing.T) {
	id, quote, dealer := uuid.MustParse("0195500a-0000-7000-8000-000000000001"), uuid.MustParse("0195500a-0000-7000-8000-000000000002"), uuid.MustParse("0195500a-0000-7000-8000-000000000003")
	q := record.Quote{ID: quote, DealerID: &dealer, State: record.QuoteOpen, Version: 1, Reference: "<Fennimore & sons>", Promise: "2027-03-19", ValidUntil: noon,
		Total: money.Amount{Value: decimal.MustParse("1284.40"), Currency: "USD"}}
	e, err := NewEvent(id, QuoteMade, noon, record.Actor{}, AboutQuote(q))
	if err != nil {
		t.Fatal(err)
	}
	const want = `{"id":"0195500a-0000-7000-8000-000000000001","type":"quote.made","timestamp":"2027-03-01T12:00:00.000Z","data":{` +
		`"quote_id":"0195500a-0000-7000-8000-000000000002","dealer_id":"0195500a-0000-7000-8000-000000000003","state":"open","version":1,` +
		`"reference":"<Fennimore & sons>","promise":"2027-03-19","valid_until":"2027-03-01T12:00:00.000Z","total":{"amount":"1284.40","currency":"USD"}}}`
	if string(e.Body) != want {
		t.Errorf("got  %s\nwant %s", e.Body, want)
	}
	if e.Subject != (record.Subject{Kind: "quote", ID: quote}) || *e.DealerID != dealer || e.Kind != "quote.made" || !json.Valid(e.Body) {
		t.Errorf("%+v", e)
	}
	if _, err := NewEvent(id, QuoteMade, noon, record.Actor{}, "nothing"); err == nil {
		t.Error("any data will do")
	}
}
