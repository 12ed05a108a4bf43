package backlog

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"strings"
	"time"

	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/money"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
	"hatchwright/service/stockroom"
)

// LeadTime is when a hatch is done behind the shop's open work.
//
// The percentiles are instants of the sampled finish, by definition 7 of Hyndman
// and Fan; the dates beside them are the first working days of the shop, in its
// zone, on or after them.
type LeadTime struct {
	schedule.LeadTime
	Start               time.Time // nothing is begun before it; in the shop's zone
	P50On, P80On, P95On civil.Date
	// Promise is the date to give: P80On.
	Promise      civil.Date
	WorkingHours float64 // person-hours

	Steps []routing.Step // what is done, molds of the register used
	// CriticalPath are the operations that decide the date in at least half of the
	// scenarios, in the order of the steps.
	CriticalPath []string
	// Shorten is what would bring the date nearer, most first; nil when not asked
	// for.
	Shorten []Shortening
	// Waiting is material that is short.
	Waiting []MaterialWait
	// Molds are the molds of the register that are used, by part.
	Molds map[string]record.Mold
	// Bill is the bill with those molds left out.
	Bill bill.Bill
	// Near are molds that make nearly what is asked; nil when they were not looked
	// for.
	Near []NearMold

	Backlog Stamp
}

// Stamp says what open work a date stands behind.
type Stamp struct {
	Version    string
	MadeAt     time.Time
	Orders     int
	Operations int
	Scenarios  int
	// Stale tells that it is no longer, or not yet, what the shop has to do: the
	// worker is at it, or has never run. The date is good all the same, of then.
	Stale bool
}

// criticalShare is the share of scenarios from which on an operation is said to
// decide the date: more often than not.
const criticalShare = 0.5

// LeadTime places a derivation behind the open work, with registered molds by part, and
// says what would bring its date nearer: what-ifs to try at most, each of which costs as
// much as the date itself. goOn is asked now and then; when it says no, the error is
// schedule.ErrStopped.
func (b *Backlog) LeadTime(r *derivation.Result, molds map[string]record.Mold, now time.Time, whatIfs int, goOn func() bool) (*LeadTime, error) {
	registered := map[string]string{}
	for part, m := range molds {
		registered[part] = m.ID.String()
	}
	l := &LeadTime{Start: now.In(b.Engine.Location()), Molds: molds, Bill: r.Bill}
	l.Steps = routing.Reuse(r.LeadTime.Steps, registered)
	documents := b.Engine.Documents()
	if len(molds) > 0 {
		var err error
		if l.Bill, err = billWithout(r, l.Steps, registered, documents.Prices); err != nil {
			return nil, err
		}
	}
	needs, err := NeedsOf(r, documents, registered)
	if err != nil {
		return nil, err
	}
	if len(b.Shelf.Kept) > 0 {
		l.Waiting = b.Shelf.lacks(needs, map[string]stockroom.Amount{})
		l.Steps = b.awaiting(l.Steps, l)
	}
	job := routing.Job("order", l.Steps)
	seed := sha256.Sum256([]byte("lead time " + r.Digest))
	if l.LeadTime, err = b.Profiles.PlaceWhile(job, now, seed, goOn); err != nil {
		return nil, err
	}
	if whatIfs > 0 {
		if l.Shorten, err = b.shorten(r, l, job, seed, whatIfs, goOn); err != nil {
			return nil, err
		}
	}
	for _, d := range []struct {
		at   time.Time
		into *civil.Date
	}{{l.P50, &l.P50On}, {l.P80, &l.P80On}, {l.P95, &l.P95On}} {
		if *d.into, err = b.Engine.Calendar().WorkingDay(d.at); err != nil {
			return nil, err
		}
	}
	l.Promise = l.P80On
	for _, step := range l.Steps {
		l.WorkingHours += step.Hours * float64(step.Crew)
	}
	for _, k := range l.Criticality {
		if k.Index >= criticalShare {
			l.CriticalPath = append(l.CriticalPath, k.Operation)
		}
	}
	return l, nil
}

// Together is the day to promise for several derivations that are one order: all their
// work as one job, since the shop does it side by side.
//
// The days are those of the 50th, 80th and 95th percentile.
func (b *Backlog) Together(lines []*LeadTime, digests []string, now time.Time, goOn func() bool) (days [3]civil.Date, err error) {
	var steps []routing.Step
	for i, l := range lines {
		name := func(key string) string { return OperationKey(i+1, key) }
		for _, s := range l.Steps {
			s.Key, s.After = name(s.Key), slices.Clone(s.After)
			for k := range s.After {
				s.After[k] = name(s.After[k])
			}
			if s.Operation.Mold != "" {
				s.Operation.Mold = name(s.Operation.Mold)
			}
			steps = append(steps, s)
		}
	}
	at, err := b.Profiles.PlaceWhile(routing.Job("order", steps), now, sha256.Sum256([]byte("lead time "+strings.Join(digests, " "))), goOn)
	if err != nil {
		return days, err
	}
	for i, p := range []time.Time{at.P50, at.P80, at.P95} {
		if days[i], err = b.Engine.Calendar().WorkingDay(p); err != nil {
			return days, err
		}
	}
	return days, nil
}

// billWithout is the bill of a derivation when the molds of some parts are there.
func billWithout(r *derivation.Result, steps []routing.Step, registered map[string]string, book *shop.PriceBook) (bill.Bill, error) {
	var needs []bill.Need
	for _, line := range r.Bill.Lines {
		need, share := line.Need, stillBuilt(&line.Need, r, registered)
		if share == 0 {
			continue
		}
		need.Net *= share
		needs = append(needs, need)
	}
	out, err := bill.Make(needs, derivation.Labor(steps), int(r.Configuration.Quantity), book)
	if err != nil {
		return out, fmt.Errorf("bill without the molds that are there: %w", err)
	}
	return out, nil
}

// NearMold is what comes out of molds that are there, for a hatch that is off what
// was asked by no more than the customer takes. It is offered, never substituted.
type NearMold struct {
	Molds map[string]record.Mold // by part; parts without one get theirs built
	// Off is the most that any size of the hatch differs, mm; Differences are what
	// differs, largest first.
	Off         float64
	Differences []MoldDifference
	Promise     civil.Date
	DaysSaved   int // calendar days of the promise
	Price       money.Amount
	PriceSaved  money.Amount // may be below 0
}

// Kept is the same as a quote keeps it.
func (n *NearMold) Kept() record.QuoteNearMold {
	out := record.QuoteNearMold{Molds: KeptMolds(n.Molds), Off: n.Off, Promise: n.Promise.String(), DaysSaved: n.DaysSaved, Price: n.Price, PriceSaved: n.PriceSaved}
	for _, d := range n.Differences {
		out.Differences = append(out.Differences, record.QuoteMoldDifference(d))
	}
	return out
}

// KeptMolds are registered molds by part as a quote keeps them, the receiver's first.
func KeptMolds(list map[string]record.Mold) []record.QuoteMold {
	var out []record.QuoteMold
	for _, part := range []string{"receiver", "lid"} {
		if m, there := list[part]; there {
			out = append(out, record.QuoteMold{Part: part, ID: m.ID, Tag: m.Tag})
		}
	}
	return out
}

// MoldDifference is a difference of one mold's face, see register.Difference.
type MoldDifference struct {
	Part  string
	What  string
	By    float64 // mm
	Asked float64
}

// MostNear bounds what is offered: more than a customer looks at.
const MostNear = 5

// NearLeadTimes adds days and price to near molds.
func (b *Backlog) NearLeadTimes(r *derivation.Result, asked *LeadTime, list []NearMold, now time.Time, goOn func() bool) ([]NearMold, error) {
	list = slices.Clone(list)
	for i := range list {
		n := &list[i]
		l, err := b.LeadTime(r, n.Molds, now, 0, goOn)
		if err != nil {
			return nil, err
		}
		n.Promise, n.Price = l.Promise, l.Bill.Totals.Price
		n.DaysSaved = int(asked.Promise.At(0, time.UTC).Sub(l.Promise.At(0, time.UTC)) / (24 * time.Hour))
		saved, err := asked.Bill.Totals.Price.Value.Sub(l.Bill.Totals.Price.Value)
		if err != nil {
			return nil, fmt.Errorf("price saved: %w", err)
		}
		n.PriceSaved = money.Amount{Value: saved, Currency: n.Price.Currency}
	}
	return list, nil
}
