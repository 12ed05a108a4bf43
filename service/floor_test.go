package service_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/backlog"
	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/order"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/service/stockroom"
	"hatchwright/service/tooling"
	"hatchwright/store"
)

// works is a shop at work: a service on a store, a clock to set, and the shop's own
// caller.
type works struct {
	t     *testing.T
	s     *service.Service
	store store.Store
	now   time.Time
	shop  service.Caller
}

func newWorks(t *testing.T) *works {
	t.Helper()
	w := &works{t: t, store: open(t), now: monday}
	var err error
	w.s, err = service.New(service.Options{Store: w.store, Wire: api.Wire{}, Clock: func() time.Time { return w.now }})
	w.ok(err)
	made, err := w.s.Bootstrap(t.Context())
	w.ok(err)
	w.shop, err = w.s.Authenticate(t.Context(), made.ShopKey)
	w.ok(err)
	return w
}

func (w *works) ok(err error) {
	w.t.Helper()
	if err != nil {
		w.t.Fatal(err)
	}
}

func hatchOf(length float64) string {
	return fmt.Sprintf(`{"units": "mm", "pattern": "flush-ledge", "outline": {"shape": "rectangle", "length": %v, "width": 380, "corner_radius": 60}}`, length)
}

func (w *works) derive(body string) *derivation.Result {
	w.t.Helper()
	r, err := api.Wire{}.Decode([]byte(body))
	w.ok(err)
	result, err := w.s.Derive(w.t.Context(), w.shop, r)
	w.ok(err)
	return result
}

func (w *works) keep(body string) uuid.UUID {
	w.t.Helper()
	r, err := api.Wire{}.Decode([]byte(body))
	w.ok(err)
	made, err := w.s.StoreConfiguration(w.t.Context(), w.shop, service.NewConfiguration{Request: r, Requested: json.RawMessage(body)}, nil)
	w.ok(err)
	return made.Record.ID
}

// order places an order of a hatch.
func (w *works) order(body string) record.Order {
	w.t.Helper()
	id := w.keep(body)
	q, err := w.s.MakeQuote(w.t.Context(), w.shop, service.NewQuote{Lines: []service.NewQuoteLine{{ConfigurationID: &id}}}, nil)
	w.ok(err)
	o, err := w.s.PlaceOrder(w.t.Context(), w.shop, service.NewOrder{QuoteID: q.Record.ID}, nil)
	w.ok(err)
	return o.Record.Order
}

func (w *works) refresh() {
	w.t.Helper()
	_, err := w.s.RefreshBacklog(w.t.Context())
	w.ok(err)
}

func (w *works) leadTime(r *derivation.Result) *service.LeadTime {
	w.t.Helper()
	l, err := w.s.LeadTime(w.t.Context(), w.shop, r, service.LeadTimeOptions{})
	w.ok(err)
	return l
}

func (w *works) mold(configuration uuid.UUID, of part.Part, tag string) record.Mold {
	w.t.Helper()
	made, err := w.s.RegisterMold(w.t.Context(), w.shop, service.NewMold{ConfigurationID: configuration, Part: of, Tag: tag, RemainingPulls: 3, Location: "rack 1"}, nil)
	w.ok(err)
	return made.Record
}

func (w *works) receive(material string, amount int, expires string) record.Lot {
	w.t.Helper()
	made, err := w.s.MoveStock(w.t.Context(), w.shop, service.NewMove{Kind: stockroom.Receive, Amount: stockroom.Amount(amount) * stockroom.Unit,
		Lot: &service.NewLot{Material: material, ExpiresOn: expires}}, nil)
	w.ok(err)
	return made.Record.Lots[0]
}

// Open work moves the date of a new request; the same request gets the same answer;
// what was worked out before the work was known says that it is stale.
func TestLeadTimeBehindBacklog(t *testing.T) {
	w := newWorks(t)
	r := w.derive(hatchOf(520))
	first := w.leadTime(r)
	if !first.Backlog.Stale || first.Backlog.Orders != 0 {
		t.Errorf("before any work: %+v", first.Backlog)
	}
	if !(first.P50.Before(first.P80) && first.P80.Before(first.P95)) || first.Promise != first.P80On {
		t.Errorf("percentiles %v, promise %v", first.Percentiles, first.Promise)
	}
	if first.Promise.Compare(civil.DateOf(first.P80, w.s.Location())) < 0 {
		t.Errorf("promised %v, before %v", first.Promise, first.P80)
	}
	offline, err := service.LeadTimeOffline(engineOf(t), r, w.now, service.LeadTimeOptions{})
	w.ok(err)
	if offline.Promise != first.Promise {
		t.Errorf("without a store %v, in an idle shop %v", offline.Promise, first.Promise)
	}
	w.refresh()
	if idle := w.leadTime(r); idle.Backlog.Stale || idle.Promise != first.Promise {
		t.Errorf("an idle shop: %+v, %v", idle.Backlog, idle.Promise)
	}
	for i := range 6 {
		w.order(hatchOf(500 + 20*float64(i)))
	}
	changed, err := w.s.RefreshBacklog(t.Context())
	w.ok(err)
	again, err := w.s.RefreshBacklog(t.Context())
	w.ok(err)
	if !changed || again {
		t.Errorf("six orders changed it: %v; nothing changed it: %v", changed, again)
	}
	busy := w.leadTime(r)
	if busy.Backlog.Orders != 6 || busy.Promise.Compare(first.Promise) <= 0 {
		t.Errorf("behind %d orders %v, idle %v", busy.Backlog.Orders, busy.Promise, first.Promise)
	}
	if same := w.leadTime(r); same.Percentiles != busy.Percentiles || same.Driver != busy.Driver {
		t.Error("the same request got another answer")
	}
	relieved, err := w.s.LeadTime(t.Context(), w.shop, r, service.LeadTimeOptions{Shorten: 3})
	w.ok(err)
	if len(relieved.Shorten) == 0 {
		t.Error("nothing shortens a date behind six orders")
	}

	// The plan is one that can be worked by, as far as posts go, and it adds up to the
	// load.
	plan, err := w.s.ShopSchedule(t.Context(), w.shop, service.Days{})
	w.ok(err)
	if len(plan.Orders) != 6 || len(plan.Left) != 0 || len(plan.Operations) != busy.Backlog.Operations {
		t.Fatalf("%d orders, %d operations, left %v", len(plan.Orders), len(plan.Operations), plan.Left)
	}
	type post struct {
		center string
		post   int
	}
	free := map[post]time.Time{}
	for _, o := range plan.Operations { // by start
		if o.Post < 0 {
			continue
		}
		k := post{o.WorkCenter, o.Post}
		if o.Start.Before(free[k]) {
			t.Fatalf("%s of %s begins at %v while its post is busy until %v", o.Operation, o.Job, o.Start, free[k])
		}
		free[k] = o.LaborEnd
	}
	load, err := w.s.ShopLoad(t.Context(), w.shop, service.Days{})
	w.ok(err)
	for _, d := range load.Loads {
		if d.Busy > d.Available {
			t.Errorf("%s on %v: %v of %v", d.WorkCenter, d.Date, d.Busy, d.Available)
		}
	}
	day := civil.DateOf(w.now, w.s.Location())
	part, err := w.s.ShopLoad(t.Context(), w.shop, service.Days{From: day, To: day})
	w.ok(err)
	if len(part.Loads) == 0 || len(part.Loads) >= len(load.Loads) {
		t.Errorf("%d entries of today, %d of all days", len(part.Loads), len(load.Loads))
	}
	today, err := w.s.ShopSchedule(t.Context(), w.shop, service.Days{To: civil.DateOf(w.now, w.s.Location())})
	w.ok(err)
	if len(today.Operations) == 0 || len(today.Operations) >= len(plan.Operations) {
		t.Errorf("%d operations of today, %d in all", len(today.Operations), len(plan.Operations))
	}
	for _, who := range []service.Caller{{Role: record.RoleDealer}, {Role: record.RoleStorefront}, {}} {
		if _, err := w.s.ShopSchedule(t.Context(), who, service.Days{}); fault.KindOf(err) != fault.Forbidden {
			t.Errorf("a %q key sees the schedule: %v", who.Role, err)
		}
	}
}

func engineOf(t *testing.T) *derivation.Engine {
	t.Helper()
	e, err := derivation.New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// Records from the floor shorten what is left, teach the factors, and close the
// order; the dates given then count for the coverage.
func TestFloorReports(t *testing.T) {
	w := newWorks(t)
	w.refresh()
	o := w.order(hatchOf(520))
	w.refresh()
	before, err := w.s.ShopCalibration(t.Context(), w.shop)
	w.ok(err)
	d, err := w.s.GetOrder(t.Context(), w.shop, o.ID)
	w.ok(err)
	operations := w.s.KeptBacklog().Operations()
	line := d.Quote.Lines[0]
	if operations != len(line.Operations) {
		t.Fatalf("%d operations to do, %d quoted", operations, len(line.Operations))
	}
	// Every operation takes half as long again as planned.
	at := w.now
	version := o.Version
	for i, k := range line.Operations {
		start, end, hours := at, at.Add(30*time.Minute), 1.5*k.Hours*float64(k.Crew)
		w.now = end
		made, err := w.s.RecordOperation(t.Context(), w.shop, service.OrderChange{ID: o.ID, Match: &version},
			service.Work{Operation: k.Key, StartedAt: start, FinishedAt: &end, Hours: &hours}, nil)
		w.ok(err)
		version, at = made.Record.Version, end
		if i == len(line.Operations)/2 {
			w.refresh()
			if left := w.s.KeptBacklog().Operations(); left >= operations || left == 0 {
				t.Errorf("after half of the work %d of %d operations are left", left, operations)
			}
		}
	}
	w.refresh()
	if left := w.s.KeptBacklog().Orders; left != 0 {
		t.Errorf("%d orders are left", left)
	}
	after, err := w.s.ShopCalibration(t.Context(), w.shop)
	w.ok(err)
	if after.Coverage.Finished != 1 || after.Coverage.ByP95 != 1 {
		t.Errorf("coverage %+v", after.Coverage)
	}
	learned := 0
	for i, k := range after.Kinds {
		if k.Observations > 0 {
			learned++
			if k.Spread.Factor <= before.Kinds[i].Spread.Factor || k.Spread.Factor >= 1.5 {
				t.Errorf("%s: factor %v from %v, of reports of 1.5", k.Kind, k.Spread.Factor, before.Kinds[i].Spread.Factor)
			}
		}
	}
	if learned < 10 {
		t.Errorf("%d kinds were learned", learned)
	}
	// Everything is learned once: another process that begins anew adds nothing.
	second, err := service.New(service.Options{Store: w.store, Wire: api.Wire{}, Clock: func() time.Time { return w.now }})
	w.ok(err)
	w.ok(second.LoadDocuments(t.Context()))
	_, err = second.RefreshBacklog(t.Context())
	w.ok(err)
	same, err := second.ShopCalibration(t.Context(), w.shop)
	w.ok(err)
	if fmt.Sprint(same.Kinds) != fmt.Sprint(after.Kinds) || same.Coverage != after.Coverage {
		t.Error("another process learned otherwise")
	}
}

// What builds a mold leaves the bill with it: boards by what is still sawn, and all of
// them when no mold is built.
func TestBillWithoutMolds(t *testing.T) {
	w := newWorks(t)
	w.refresh()
	asked := w.derive(hatchOf(523))
	forMolds := func(l *service.LeadTime) (boards, others float64) {
		for _, line := range l.Bill.Lines {
			switch {
			case line.Purpose != bill.ForMold:
			case line.Part == "": // the boards, sawn for all molds together
				boards += line.Net
			default:
				others += line.Net
			}
		}
		return boards, others
	}
	whole, rest := forMolds(w.leadTime(asked))
	kept := w.keep(hatchOf(523))
	w.mold(kept, "receiver", "PR-523 R")
	one := w.leadTime(asked)
	half, other := forMolds(one)
	// Of the sawn area, what is not the receiver's own panels.
	all, own := 0.0, 0.0
	for _, p := range asked.Panels {
		area := p.Length * p.Width * float64(p.Quantity)
		all += area
		if p.Part == "receiver" && !slices.ContainsFunc(asked.Templates, func(x tooling.Template) bool { return x.Name == p.Name }) {
			own += area
		}
	}
	if len(one.Molds) != 1 || own == 0 || half >= whole || half < 0.5*whole*(1-own/all) || other >= rest || other == 0 {
		t.Errorf("with the receiver's mold: boards %v of %v m2 (%v of the sawn area is its own), %v of %v of the rest", half, whole, own/all, other, rest)
	}
	w.mold(kept, "lid", "PR-523 L")
	none := w.leadTime(asked)
	if boards, others := forMolds(none); len(none.Molds) != 2 || boards != 0 || others != 0 {
		t.Errorf("with both molds: boards %v, rest %v", boards, others)
	}
	if total := none.Bill.Totals.Mold.Value; !total.IsZero() {
		t.Errorf("molds that are there cost %v", total)
	}
}

// A mold that is there brings date and price down; one that is near is offered with
// what it saves, and never used by itself.
func TestMoldRegister(t *testing.T) {
	w := newWorks(t)
	w.refresh()
	asked := w.derive(hatchOf(520))
	without := w.leadTime(asked)
	other := w.keep(hatchOf(523))
	near := w.mold(other, "receiver", "PR-523 R")
	offers, err := w.s.FindMolds(t.Context(), w.shop, asked, without)
	w.ok(err)
	if len(offers) != 1 || len(offers[0].Molds) != 1 || offers[0].Molds["receiver"].ID != near.ID {
		t.Fatalf("offers %+v", offers)
	}
	w.mold(other, "lid", "PR-523 L")
	far := w.keep(hatchOf(530))
	w.mold(far, "receiver", "PR-530 R")
	offers, err = w.s.FindMolds(t.Context(), w.shop, asked, without)
	w.ok(err)
	if len(offers) != 1 || len(offers[0].Molds) != 2 {
		t.Fatalf("offers %+v", offers)
	}
	n := offers[0]
	if n.Off < 2.999 || n.Off > 3.001 || n.DaysSaved < 1 || n.PriceSaved.Value.Sign() <= 0 || n.Promise.Compare(without.Promise) >= 0 {
		t.Errorf("off %v, %d days, %s, %v against %v", n.Off, n.DaysSaved, n.PriceSaved, n.Promise, without.Promise)
	}
	if again := w.leadTime(asked); len(again.Molds) != 0 || again.Promise != without.Promise {
		t.Errorf("a near mold was used: %+v", again.Molds)
	}
	if exact := w.leadTime(w.derive(hatchOf(523))); len(exact.Molds) != 2 || exact.Bill.Totals.Mold.Value.Cmp(without.Bill.Totals.Mold.Value) >= 0 {
		t.Errorf("the very molds are there: %v, mold price %v", exact.Molds, exact.Bill.Totals.Mold)
	} else if exact.Promise != n.Promise {
		t.Errorf("the same molds promise %v and %v", exact.Promise, n.Promise)
	}
	// Fewer pulls than pieces: the molds do not do.
	if many := w.leadTime(w.derive(strings.Replace(hatchOf(523), `"units"`, `"quantity": 4, "units"`, 1))); len(many.Molds) != 0 {
		t.Error("molds with 3 pulls left give 4 pieces")
	}
	// A retired mold is neither used nor changed any more.
	retired, one := record.MoldRetired, 1
	wrong := 7
	if _, err := w.s.ChangeMold(t.Context(), w.shop, service.MoldChange{ID: near.ID, Match: &wrong, State: &retired}); !refusedAs(err, order.Stale) {
		t.Errorf("an old version: %v", err)
	}
	_, err = w.s.ChangeMold(t.Context(), w.shop, service.MoldChange{ID: near.ID, Match: &one, State: &retired})
	w.ok(err)
	if _, err := w.s.ChangeMold(t.Context(), w.shop, service.MoldChange{ID: near.ID}); fault.KindOf(err) != fault.Conflict {
		t.Errorf("a retired mold changes: %v", err)
	}
	if offers, err = w.s.FindMolds(t.Context(), w.shop, asked, without); err != nil || len(offers) != 0 {
		t.Errorf("a retired mold is offered: %+v, %v", offers, err)
	}
	for name, bad := range map[string]service.NewMold{
		"unknown configuration": {ConfigurationID: uuid.New(), Part: "lid", RemainingPulls: 1}, "no pulls": {ConfigurationID: other, Part: "lid"},
		"no part": {ConfigurationID: other, Part: "trunk", RemainingPulls: 1}, "tag taken": {ConfigurationID: other, Part: "lid", RemainingPulls: 1, Tag: "PR-523 L"},
	} {
		if _, err := w.s.RegisterMold(t.Context(), w.shop, bad, nil); err == nil || fault.KindOf(err) == fault.Internal {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func refusedAs(err error, reason order.Reason) bool {
	var r *order.Refusal
	return errors.As(err, &r) && r.Reason == reason
}

// A demolding counts a pull of the mold of the register that it was.
func TestPullsAreCounted(t *testing.T) {
	w := newWorks(t)
	w.refresh()
	first := w.order(hatchOf(520))
	m := w.mold(w.keep(hatchOf(520)), "lid", "L")
	// A quote from before the mold was there builds its own; one from after uses it.
	for i, o := range []record.Order{first, w.order(hatchOf(520))} {
		w.refresh()
		d, err := w.s.GetOrder(t.Context(), w.shop, o.ID)
		w.ok(err)
		w.finish(o, d, func(k record.Operation) bool { return k.Kind == "demold" })
		w.refresh()
		if got, err := w.s.GetMold(t.Context(), w.shop, m.ID); err != nil || got.Pulls != i || got.RemainingPulls != 3-i {
			t.Errorf("order %d: %d pulls, %d left, %v", i, got.Pulls, got.RemainingPulls, err)
		}
	}
}

func (w *works) finish(o record.Order, d service.OrderDetail, which func(record.Operation) bool) {
	w.t.Helper()
	for _, k := range d.Quote.Lines[0].Operations {
		if !which(k) {
			continue
		}
		end, hours := w.now, k.Hours*float64(k.Crew)
		_, err := w.s.RecordOperation(w.t.Context(), w.shop, service.OrderChange{ID: o.ID},
			service.Work{Operation: k.Key, StartedAt: end.Add(-time.Minute), FinishedAt: &end, Hours: &hours}, nil)
		w.ok(err)
	}
}

// Stock: oldest first, never below zero, nothing past its date, and what is short
// moves the date and is on the list of what to buy.
func TestStock(t *testing.T) {
	w := newWorks(t)
	w.refresh()
	r := w.derive(hatchOf(520))
	before := w.leadTime(r)
	if len(before.Waiting) != 0 {
		t.Errorf("a shop that keeps no stock waits for %v", before.Waiting)
	}
	const resin = "general-purpose polyester"
	o := w.order(hatchOf(520)) // before there is stock to reserve
	late := w.receive(resin, 5, "")
	soon := w.receive(resin, 5, "2026-12-20")
	if late.ExpiresOn != "2027-02-28" { // 90 days after 30 November
		t.Errorf("a shelf life of 90 days from 30 November ends on %s", late.ExpiresOn)
	}
	move := func(n service.NewMove) ([]record.StockMove, error) {
		made, err := w.s.MoveStock(t.Context(), w.shop, n, nil)
		return made.Record.Moves, err
	}
	unit := stockroom.Unit
	moves, err := move(service.NewMove{Kind: stockroom.Reserve, Material: resin, Amount: 7 * unit, OrderID: &o.ID})
	w.ok(err)
	took := map[uuid.UUID]stockroom.Amount{}
	for _, m := range moves {
		took[m.LotID] = m.Amount
	}
	if took[soon.ID] != 5*unit || took[late.ID] != 2*unit {
		t.Errorf("reserved %v: the lot that expires first comes first", took)
	}
	stock := func() string {
		list, err := w.s.ListStock(t.Context(), w.shop)
		w.ok(err)
		return fmt.Sprintf("%+v", list)
	}
	was := stock()
	nobody := uuid.New()
	for name, c := range map[string]struct {
		move service.NewMove
		want stockroom.Reason
	}{
		"more than there is":      {service.NewMove{Kind: stockroom.Scrap, LotID: &late.ID, Amount: 6 * unit}, stockroom.BelowZero},
		"what is reserved":        {service.NewMove{Kind: stockroom.Issue, LotID: &late.ID, Amount: 4 * unit}, stockroom.Reserved},
		"not that much free":      {service.NewMove{Kind: stockroom.Reserve, Material: resin, Amount: 4 * unit, OrderID: &o.ID}, stockroom.BelowZero},
		"nothing":                 {service.NewMove{Kind: stockroom.Return, LotID: &late.ID}, stockroom.WrongAmount},
		"more than it has":        {service.NewMove{Kind: stockroom.Release, LotID: &late.ID, Amount: 3 * unit, OrderID: &o.ID}, stockroom.NotReserved},
		"no such kind":            {service.NewMove{Kind: "lend", LotID: &late.ID, Amount: unit}, stockroom.NoKind},
		"no such lot":             {service.NewMove{Kind: stockroom.Scrap, LotID: &nobody, Amount: unit}, ""},
		"no such order":           {service.NewMove{Kind: stockroom.Reserve, LotID: &late.ID, Amount: unit, OrderID: &nobody}, ""},
		"for nobody":              {service.NewMove{Kind: stockroom.Reserve, LotID: &late.ID, Amount: unit}, ""},
		"no lot":                  {service.NewMove{Kind: stockroom.Issue, Amount: unit}, ""},
		"no such material":        {service.NewMove{Kind: stockroom.Receive, Lot: &service.NewLot{Material: "unobtainium"}, Amount: unit}, stockroom.Unknown},
		"received ahead":          {service.NewMove{Kind: stockroom.Receive, Lot: &service.NewLot{Material: resin, ReceivedOn: "2026-12-01"}, Amount: unit}, ""},
		"expired before received": {service.NewMove{Kind: stockroom.Receive, Lot: &service.NewLot{Material: resin, ExpiresOn: "2026-11-29"}, Amount: unit}, ""},
		"a receipt into a lot":    {service.NewMove{Kind: stockroom.Receive, LotID: &late.ID, Amount: unit}, ""},
		"nothing received":        {service.NewMove{Kind: stockroom.Receive, Lot: &service.NewLot{Material: resin}}, stockroom.WrongAmount},
	} {
		_, err := move(c.move)
		var refusal *stockroom.Refusal
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind == fault.Internal || len(f.Fields) == 0 && name != "no such lot" {
			t.Errorf("%s: %v", name, err)
		} else if errors.As(err, &refusal) != (c.want != "") || refusal != nil && refusal.Reason != c.want {
			t.Errorf("%s: %v", name, err)
		}
		if is := stock(); is != was {
			t.Fatalf("%s changed the stock from %s to %s", name, was, is)
		}
	}
	w.now = w.now.AddDate(0, 0, 25) // 25 December
	if _, err := move(service.NewMove{Kind: stockroom.Reserve, LotID: &soon.ID, Amount: unit, OrderID: &o.ID}); !strings.Contains(fmt.Sprint(err), "good until") {
		t.Errorf("a lot past its date is reserved: %v", err)
	}
	w.now = monday

	// What another hatch needs and the stock has not moves the date to after the
	// supplier's lead time, and is to be bought in time for the order.
	w.receive("gelcoat white", 1, "")
	w.refresh()
	if _, err := move(service.NewMove{Kind: stockroom.Scrap, LotID: first(t, w, "gelcoat white"), Amount: unit}); err != nil {
		t.Fatal(err)
	}
	w.refresh()
	after := w.leadTime(r)
	i := slices.IndexFunc(after.Waiting, func(m backlog.MaterialWait) bool { return m.Material == "gelcoat white" })
	if i < 0 || after.Waiting[i].ArrivesOn == nil || after.P50.Before(before.P50) {
		t.Fatalf("waiting for %+v, %v against %v", after.Waiting, after.P50, before.P50)
	}
	// Six working days from Monday 30 November: Tuesday to Friday, Monday, Tuesday.
	if want := (civil.Date{Year: 2026, Month: 12, Day: 8}); *after.Waiting[i].ArrivesOn != want {
		t.Errorf("the gelcoat arrives on %v, want %v", *after.Waiting[i].ArrivesOn, want)
	}
	short, err := w.s.ListShortages(t.Context(), w.shop)
	w.ok(err)
	k := slices.IndexFunc(short.Purchases, func(p stockroom.Purchase) bool { return p.Material == "gelcoat white" })
	if k < 0 {
		t.Fatalf("to buy: %+v", short.Purchases)
	}
	p := short.Purchases[k]
	if p.Packs != 1 || p.Amount != 5*unit || !slices.Equal(p.Orders, []string{o.ID.String()}) || p.Short <= 0 || p.OrderBy.Compare(p.NeededOn) >= 0 {
		t.Errorf("to buy: %+v", p)
	}
}

// first is a lot of a material that holds something.
func first(t *testing.T, w *works, material string) *uuid.UUID {
	t.Helper()
	list, err := w.s.ListLots(t.Context(), w.shop, store.LotFilter{Material: material, Held: true}, store.Page{})
	if err != nil || len(list.Items) == 0 {
		t.Fatal("no lot of "+material, err)
	}
	return &list.Items[0].ID
}

// Shop documents: what cannot be used is refused with the place, a version that is
// not the latest too, and a good one counts from then on.
func TestPutShopDocument(t *testing.T) {
	w := newWorks(t)
	w.refresh()
	ctx := t.Context()
	before := w.leadTime(w.derive(hatchOf(520)))
	d, err := w.s.GetShopDocument(ctx, w.shop, record.DocumentProfile, 0)
	w.ok(err)
	put := func(body string, match int) error {
		_, err := w.s.PutShopDocument(ctx, w.shop, service.NewShopDocument{Kind: record.DocumentProfile, Body: json.RawMessage(body), Match: &match}, nil)
		return err
	}
	text := string(d.Body)
	for name, c := range map[string][2]string{
		"a closure that never ends": {`"to": "2026-11-27"`, `"to": ""`}, "a closure that ends first": {`"to": "2026-11-27"`, `"to": "2026-11-20"`},
		"a center without posts": {`"posts": 1`, `"posts": 0`},
		"an unknown center":      {`"work_center": "office"`, `"work_center": "attic"`}, "no zone": {"America/New_York", "America/Atlantis"},
		"no probability": {`"first_pull_risk": 0.14`, `"first_pull_risk": 14`},
	} {
		bad := strings.Replace(text, c[0], c[1], 1)
		if bad == text {
			t.Fatalf("%s: nothing to change", name)
		}
		err := put(bad, d.Version)
		var f *fault.Error
		if !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Fields) != 1 {
			t.Errorf("%s: %v", name, err)
		}
	}
	none := strings.Replace(text, text[strings.Index(text, `"shifts": [`):strings.Index(text, `"closures"`)], `"shifts": [], `, 1)
	var f *fault.Error
	if err := put(none, d.Version); !errors.As(err, &f) || f.Kind != fault.Invalid || len(f.Fields) != 1 {
		t.Errorf("no shifts at all: %v", err)
	}
	if err := put(text, d.Version+1); !refusedAs(err, order.Stale) {
		t.Errorf("a version ahead: %v", err)
	}
	if now, err := w.s.GetShopDocument(ctx, w.shop, record.DocumentProfile, 0); err != nil || now.Version != d.Version {
		t.Fatalf("version %d, %v", now.Version, err)
	}
	// Closed for all of December: the date moves past it.
	w.ok(put(strings.Replace(text, `"closures": [`, `"closures": [{"from": "2026-12-01", "to": "2026-12-31", "reason": "rebuilding"}, `, 1), d.Version))
	if err := put(text, d.Version); !refusedAs(err, order.Stale) {
		t.Errorf("the version before: %v", err)
	}
	w.refresh()
	after := w.leadTime(w.derive(hatchOf(520)))
	if after.P50.Before(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)) || before.P50.After(after.P50) {
		t.Errorf("closed in December, done on %v", after.P50)
	}
	// Another process takes it on.
	second, err := service.New(service.Options{Store: w.store, Wire: api.Wire{}, Clock: func() time.Time { return w.now }})
	w.ok(err)
	_, err = second.Bootstrap(ctx)
	w.ok(err)
	w.ok(put(text, d.Version+1))
	changed, err := second.RefreshBacklog(ctx)
	w.ok(err)
	if l, err := second.LeadTime(ctx, w.shop, w.derive(hatchOf(520)), service.LeadTimeOptions{}); err != nil || !changed || l.P50.After(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("another process: %v, %v", l, err)
	}
	list, err := w.s.ListShopDocuments(ctx, w.shop, record.DocumentProfile, store.Page{})
	w.ok(err)
	if len(list.Items) != 3 {
		t.Errorf("%d versions", len(list.Items))
	}
}

// The worker notices new orders and ends with its context.
func TestKeepBacklog(t *testing.T) {
	w := newWorks(t)
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { w.s.KeepBacklog(ctx); close(ended) }()
	w.order(hatchOf(520))
	for w.s.KeptBacklog() == nil || w.s.KeptBacklog().Orders != 1 {
		select {
		case <-t.Context().Done():
			t.Fatal("the order was never noticed")
		case <-time.After(10 * time.Millisecond):
		}
	}
	stop()
	<-ended
}

// More molds shorten an order of many hatches and of no other: pull waits for pull in
// one mold, so that two take most of half of that time away, three of two thirds.
func TestMoreMoldsShorten(t *testing.T) {
	w := newWorks(t)
	molds := func(quantity int) (l *service.LeadTime, out []backlog.Shortening) {
		body := strings.Replace(hatchOf(520), "{", fmt.Sprintf(`{"quantity": %d, `, quantity), 1)
		l, err := w.s.LeadTime(t.Context(), w.shop, w.derive(body), service.LeadTimeOptions{Shorten: 1})
		w.ok(err)
		for _, k := range l.Shorten {
			if k.Cause == backlog.CauseMolds {
				out = append(out, k)
			}
		}
		slices.SortFunc(out, func(a, b backlog.Shortening) int { return a.Molds - b.Molds })
		return l, out
	}
	single, one := molds(1)
	if len(one) != 0 {
		t.Errorf("one hatch out of several molds: %v", one)
	}
	l, many := molds(12)
	pulls := l.P80.Sub(single.P80) // of the eleven after the first
	if len(many) < 2 || many[0].Molds != 2 || many[1].Molds != 3 {
		t.Fatalf("twelve hatches out of one mold, %v of pulls: %+v", pulls, many)
	}
	for i, share := range [][2]float64{{0.3, 0.6}, {0.4, 0.75}} {
		if got := float64(many[i].Saves) / float64(pulls); got < share[0] || got > share[1] {
			t.Errorf("%d molds save %v, %.2f of %v", many[i].Molds, many[i].Saves, got, pulls)
		}
	}
	// One more costs about what the first did, without its templates.
	cost := func(a money.Amount) float64 {
		v, err := strconv.ParseFloat(a.Value.String(), 64)
		w.ok(err)
		return v
	}
	first := cost(l.Bill.Totals.Mold)
	if k := cost(many[0].Price); first <= 0 || k < 0.5*first || k > 2*first {
		t.Errorf("a second mold changes the price by %v, the first is %v of it", many[0].Price, l.Bill.Totals.Mold)
	}
	if a, b := cost(many[0].Price), cost(many[1].Price); b < 1.8*a || b > 2.2*a {
		t.Errorf("a second mold %v, a second and a third %v", many[0].Price, many[1].Price)
	}
}
