package service

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/bill"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// LeadTime is when a hatch is done behind the shop's open work.
//
// The percentiles are instants of the sampled finish, by definition 7 of Hyndman
// and Fan; the dates beside them are the first working days of the shop, in its
// zone, on or after them.
type LeadTime struct {
	schedule.LeadTime
	Start               time.Time // nothing is begun before it; in the shop's zone
	P50On, P80On, P95On schedule.Date
	// Promise is the date to give: P80On.
	Promise      schedule.Date
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

	Backlog BacklogStamp
}

// BacklogStamp says what open work a date stands behind.
type BacklogStamp struct {
	Version    string
	MadeAt     time.Time
	Orders     int
	Operations int
	Scenarios  int
	// Stale tells that it is no longer, or not yet, what the shop has to do: the
	// worker is at it, or has never run. The date is good all the same, of then.
	Stale bool
}

// LeadTimeOptions says what to work out beside the date.
type LeadTimeOptions struct {
	Shorten int  // what-ifs to try at most; each costs as much as the date itself
	Near    bool // molds that make nearly what is asked; each costs the same

	counted map[uuid.UUID]int // pulls of registered molds that are counted on already
}

// LeadTime places a derivation behind the shop's open work, with the molds that are
// there already and the material that is short. It costs the work of one request:
// the future of the shop is sampled elsewhere (KeepBacklog). The same derivation
// behind the same backlog gives the same answer.
//
// The molds looked at are those that the caller may have parts from.
func (s *Service) LeadTime(ctx context.Context, c Caller, r *derivation.Result, o LeadTimeOptions) (*LeadTime, error) {
	if err := c.need(record.RoleStorefront); err != nil {
		return nil, err
	}
	e, err := s.derivations()
	if err != nil {
		return nil, err
	}
	return s.leadTime(ctx, e, c.Scope(), r, s.now(), o)
}

// leadTime is LeadTime of a derivation by e, with the molds that a scope covers.
func (s *Service) leadTime(ctx context.Context, e *derivation.Engine, scope store.Scope, r *derivation.Result, now time.Time, o LeadTimeOptions) (*LeadTime, error) {
	molds, err := s.exactMolds(ctx, scope, r, o.counted)
	if err != nil {
		return nil, storeFault(err, "mold")
	}
	b, stamp, err := s.presentFor(e)
	if err != nil {
		return nil, err
	}
	l, err := b.leadTime(ctx, r, molds, now, o)
	if err != nil {
		return nil, leadTimeFault(err)
	}
	l.Backlog = stamp
	if !o.Near {
		return l, nil
	}
	near, err := s.nearMolds(ctx, scope, r)
	if err != nil {
		return nil, storeFault(err, "mold")
	}
	if l.Near, err = b.nearLeadTimes(ctx, r, l, near, now); err != nil {
		return nil, leadTimeFault(err)
	}
	return l, nil
}

// present is the kept backlog, or that of an idle shop when there is none for the
// shop's documents of now.
func (s *Service) present() (*Backlog, BacklogStamp, error) {
	e, err := s.derivations()
	if err != nil {
		return nil, BacklogStamp{}, err
	}
	return s.presentFor(e)
}

// presentFor is present for what e worked out: with documents of another day, an idle
// shop's.
func (s *Service) presentFor(e *derivation.Engine) (*Backlog, BacklogStamp, error) {
	now := s.now()
	b := s.floor.backlog.Load()
	there := b != nil && b.engine == e && !now.Before(b.MadeAt)
	if !there {
		var err error
		if b, err = s.idle(e, now); err != nil {
			return nil, BacklogStamp{}, leadTimeFault(err)
		}
	}
	stale := !there || now.Sub(b.MadeAt) > 2*backlogAge
	return b, BacklogStamp{Version: b.Version, MadeAt: b.MadeAt, Orders: b.Orders, Operations: b.Operations(), Scenarios: b.profiles.Scenarios(), Stale: stale}, nil
}

func leadTimeFault(err error) error {
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled) {
		return storeFault(err, "request")
	}
	if errors.Is(err, schedule.ErrTooMany) {
		e := fault.Wrap(fault.Invalid, err, "So many hatches are more work than one order may be: %d operations at most.", schedule.MaxOperations)
		e.Fields = []fault.Field{{Pointer: "/quantity", Code: "too_much_work", Message: "Ask for fewer at a time."}}
		return e
	}
	if errors.Is(err, schedule.ErrNothingOpens) || errors.Is(err, schedule.ErrOutOfRange) {
		return fault.Wrap(fault.Conflict, err, "The shop has no working time for this within %d years. Look at its calendar and its open orders.", schedule.HorizonYears)
	}
	return fault.Wrap(fault.Internal, err, "The shop's documents do not cover this configuration.")
}

// LeadTimeOffline is the lead time of an idle shop with the documents that the
// derivation was worked out from: no stock, no register, no open orders. It is what
// the command line answers with.
func LeadTimeOffline(e *derivation.Engine, r *derivation.Result, now time.Time, o LeadTimeOptions) (*LeadTime, error) {
	b, err := emptyBacklog(e, now)
	if err != nil {
		return nil, leadTimeFault(err)
	}
	l, err := b.leadTime(context.Background(), r, nil, now, LeadTimeOptions{Shorten: o.Shorten})
	if err != nil {
		return nil, leadTimeFault(err)
	}
	l.Backlog = BacklogStamp{MadeAt: now, Scenarios: b.profiles.Scenarios(), Stale: true}
	return l, nil
}

// criticalShare is the share of scenarios from which on an operation is said to
// decide the date: more often than not.
const criticalShare = 0.5

// placeWhile places a job until the context ends, which is the error then.
func (b *Backlog) placeWhile(ctx context.Context, job schedule.Job, start time.Time, seed [32]byte) (schedule.LeadTime, error) {
	l, err := b.profiles.PlaceWhile(job, start, seed, func() bool { return ctx.Err() == nil })
	if errors.Is(err, schedule.ErrStopped) {
		err = ctx.Err()
	}
	return l, err
}

func (b *Backlog) leadTime(ctx context.Context, r *derivation.Result, molds map[string]record.Mold, now time.Time, o LeadTimeOptions) (*LeadTime, error) {
	registered := map[string]string{}
	for part, m := range molds {
		registered[part] = m.ID.String()
	}
	l := &LeadTime{Start: now.In(b.engine.Location()), Molds: molds, Bill: r.Bill}
	l.Steps = routing.Reuse(r.LeadTime.Steps, registered)
	documents := b.engine.Documents()
	if len(molds) > 0 {
		var err error
		if l.Bill, err = billWithout(r, l.Steps, registered, documents.Prices); err != nil {
			return nil, err
		}
	}
	needs, err := needsOf(r, documents, registered)
	if err != nil {
		return nil, err
	}
	if len(b.shelf.kept) > 0 {
		l.Waiting = b.shelf.lacks(needs, map[string]stockroom.Amount{})
		l.Steps = b.awaiting(l.Steps, l)
	}
	job := routing.Job("order", l.Steps)
	seed := sha256.Sum256([]byte("lead time " + r.Digest))
	if l.LeadTime, err = b.placeWhile(ctx, job, now, seed); err != nil {
		return nil, err
	}
	if o.Shorten > 0 {
		if l.Shorten, err = b.shorten(ctx, r, l, job, seed, o.Shorten); err != nil {
			return nil, err
		}
	}
	for _, d := range []struct {
		at   time.Time
		into *schedule.Date
	}{{l.P50, &l.P50On}, {l.P80, &l.P80On}, {l.P95, &l.P95On}} {
		if *d.into, err = b.engine.Calendar().WorkingDay(d.at); err != nil {
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

// together is the day to promise for several derivations that are one order: all their
// work as one job, since the shop does it side by side.
//
// The days are those of the 50th, 80th and 95th percentile.
func (b *Backlog) together(ctx context.Context, lines []*LeadTime, digests []string, now time.Time) (days [3]schedule.Date, err error) {
	var steps []routing.Step
	for i, l := range lines {
		name := func(key string) string { return operationKey(i+1, key) }
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
	at, err := b.placeWhile(ctx, routing.Job("order", steps), now, sha256.Sum256([]byte("lead time "+strings.Join(digests, " "))))
	if err != nil {
		return days, err
	}
	for i, p := range []time.Time{at.P50, at.P80, at.P95} {
		if days[i], err = b.engine.Calendar().WorkingDay(p); err != nil {
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
	Promise     schedule.Date
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

// mostNear bounds what is offered: more than a customer looks at.
const mostNear = 5

// nearLeadTimes adds days and price to near molds.
func (b *Backlog) nearLeadTimes(ctx context.Context, r *derivation.Result, asked *LeadTime, list []NearMold, now time.Time) ([]NearMold, error) {
	list = slices.Clone(list)
	for i := range list {
		n := &list[i]
		l, err := b.leadTime(ctx, r, n.Molds, now, LeadTimeOptions{})
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
