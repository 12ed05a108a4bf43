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
	"hatchwright/service/shop"
	"hatchwright/service/stockroom"
)

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

// criticalShare is the share of scenarios from which on an operation is said to
// decide the date: more often than not.
const criticalShare = 0.5
