package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// foresight is how an order's end was seen when its promise was given, or first seen
// by this process: what a later end is held against.
type foresight struct {
	promise  string
	outlook  backlog.Outlook
	calendar *schedule.Calendar
	held     bool // it was on hold since
}

// KeepPromises holds the orders' promises against the backlog as last worked out. An
// order that was received and has its place in the plan is scheduled, with the date
// that it was promised. A promise that its p80 passes by at least a working day
// (backlog.Passed) moves to the working day of that p80, and the event says what
// moved it. Promises only move later here; to move one earlier, or to keep one that
// the plan does not, is for people. Orders on hold, ready or closed are left alone.
//
// Each order is changed in a transaction of its own and only in the version that the
// backlog was worked out from. So of several keepers one changes it, once for what
// they have seen; the others find another version and leave it for their next
// backlog, and one that dies between two orders, or between the two events of one,
// leaves the rest to the next. An order that cannot be changed does not keep the
// others from it; the error joins what went wrong.
func (s *Service) KeepPromises(ctx context.Context) error {
	s.floor.keeping.Lock()
	defer s.floor.keeping.Unlock()
	b := s.KeptBacklog()
	if b == nil {
		return nil
	}
	if s.floor.foreseen == nil {
		s.floor.foreseen = map[uuid.UUID]*foresight{}
	}
	for id, f := range s.floor.foreseen {
		f.held = f.held || b.held[id.String()]
		if _, open := b.orders[id.String()]; !open && !b.held[id.String()] {
			delete(s.floor.foreseen, id)
		}
	}
	var faults []error
	percentiles := b.profiles.Backlog()
	for i, f := range b.plan.Jobs {
		if err := ctx.Err(); err != nil {
			return err
		}
		o := b.orders[f.Job]
		if err := s.keepPromise(ctx, b, o, f, percentiles[i]); err != nil {
			s.log.ErrorContext(ctx, "an order's promise could not be kept", "order", o.ID, "error", err)
			faults = append(faults, fmt.Errorf("order %v: %w", o.ID, err))
		}
	}
	return errors.Join(faults...)
}

// keepPromise schedules one order, and moves its promise when it no longer holds.
func (s *Service) keepPromise(ctx context.Context, b *Backlog, o record.Order, f schedule.Finish, p schedule.Percentiles) error {
	seen := &foresight{promise: o.Promise, calendar: b.engine.Calendar(), outlook: backlog.Outlook{Seen: b.plan.Origin, End: f.End, Shares: f.Critical.Shares}}
	before := s.floor.foreseen[o.ID]
	if before != nil && before.promise != o.Promise {
		before = nil // somebody else gave it another one
	}
	if before == nil {
		s.floor.foreseen[o.ID] = seen
	}
	version := o.Version
	n := OrderChange{ID: o.ID, Match: &version}
	if o.State == record.OrderReceived {
		made, err := s.ScheduleOrder(ctx, worker, n, o.Promise, nil)
		if err != nil {
			return lostRace(err)
		}
		version = made.Record.Version
	}
	promise, err := schedule.ParseDate(o.Promise)
	if err != nil {
		return err
	}
	on, err := b.engine.Calendar().WorkingDay(p.P80)
	if err != nil {
		return err
	}
	passed, err := backlog.Passed(b.engine.Calendar(), promise, on)
	if err != nil || !passed {
		return err
	}
	cause, err := s.causeOf(ctx, b, o, f, before, seen)
	if err != nil {
		return err
	}
	if _, err := s.ChangePromise(ctx, worker, n, on.String(), cause, nil); err != nil {
		return lostRace(err)
	}
	seen.promise = on.String()
	s.floor.foreseen[o.ID] = seen
	return nil
}

// lostRace passes over the refusals that say that somebody else changed the order
// since the backlog was worked out.
func lostRace(err error) error {
	var r *order.Refusal
	if errors.As(err, &r) && (r.Reason == order.Stale || r.Reason == order.WrongState || r.Reason == order.OrderClosed) {
		return nil
	}
	return err
}

// causeOf says in plain words what moved an order's end: the cause that grew most
// since its promise was given, and the next one when it grew by at least half as
// much. When that is not known, or nothing grew by the estimates, it says where the
// time until the end goes, and no more than that. The shop alone reads it; it
// tells nothing of whose other orders are all the same.
func (s *Service) causeOf(ctx context.Context, b *Backlog, o record.Order, f schedule.Finish, before, seen *foresight) (string, error) {
	if before != nil {
		closed := closedSince(before.calendar, b.engine.Calendar(), seen.outlook)
		moved := backlog.Moved(before.outlook, seen.outlook, closed)
		if len(moved) > 0 {
			told := []string{}
			for _, m := range moved[:min(2, len(moved))] {
				if 2*m.Time < moved[0].Time {
					break
				}
				words, err := s.grown(ctx, b, o, m, before)
				if err != nil {
					return "", err
				}
				told = append(told, words)
			}
			return strings.Join(told, " "), nil
		}
	}
	d := f.Critical.Driver
	if before == nil && d.Cause == schedule.CauseQueue {
		q, err := s.store.Quotes().Get(ctx, worker.Scope(), o.QuoteID)
		if err != nil {
			return "", err
		}
		if b.overtaken(o, d.Key, q.CreatedAt) {
			return fmt.Sprintf("Another order that was placed since it was quoted is ahead of it at the %s.", b.center(d.Key)), nil
		}
	}
	return fmt.Sprintf("It cannot be done earlier behind the open work as it now stands. Most of the time until then goes to %s.", b.goesTo(o, d)), nil
}

// grown says what it means that a share of an order's time grew.
func (s *Service) grown(ctx context.Context, b *Backlog, o record.Order, m schedule.Share, before *foresight) (string, error) {
	switch m.Cause {
	case schedule.CauseMaterial:
		return capital(b.waitsFor(o)) + ".", nil
	case schedule.CauseMold:
		mold, err := s.moldWords(ctx, m.Key)
		if err != nil {
			return "", err
		}
		return capital(mold) + " is in use for another order for longer than it was.", nil
	case schedule.CauseQueue:
		if b.overtaken(o, m.Key, before.outlook.Seen) {
			return fmt.Sprintf("Another order is ahead of it at the %s.", b.center(m.Key)), nil
		}
		return fmt.Sprintf("The %s is taken by orders ahead of it for longer than it was.", b.center(m.Key)), nil
	case schedule.CauseLabor:
		return fmt.Sprintf("The work takes longer than was planned, most of all at the %s.", b.center(m.Key)), nil
	case schedule.CauseWait:
		return fmt.Sprintf("The waiting after %q takes longer than was planned.", strings.ReplaceAll(m.Key, "_", " ")), nil
	case schedule.CauseClosed:
		if m.Key == "" {
			return "The shop is closed on more days until then than when the date was given.", nil
		}
		return "More of the time until then falls into hours in which the shop is closed.", nil
	case backlog.CauseBehind:
		if before.held {
			return "It was on hold.", nil
		}
		if kind := b.at(o); kind != "" {
			return fmt.Sprintf("The operation %q takes longer than was planned.", strings.ReplaceAll(kind, "_", " ")), nil
		}
		return "The work recorded so far is behind the plan.", nil
	default:
		return fmt.Sprintf("Most of the time until then goes to %s.", b.goesTo(o, m)), nil
	}
}

// goesTo says what a share of an order's time is.
func (b *Backlog) goesTo(o record.Order, s schedule.Share) string {
	switch s.Cause {
	case schedule.CauseLabor:
		return fmt.Sprintf("work at the %s", b.center(s.Key))
	case schedule.CauseWait:
		return fmt.Sprintf("waiting after %q", strings.ReplaceAll(s.Key, "_", " "))
	case schedule.CauseQueue:
		return fmt.Sprintf("waiting for a free place at the %s", b.center(s.Key))
	case schedule.CauseMaterial:
		return "waiting for material: " + b.waitsFor(o)
	case schedule.CauseMold:
		return "waiting for a mold that is in use"
	default:
		return "hours in which the shop is closed"
	}
}

// waitsFor says which material of an order comes last.
func (b *Backlog) waitsFor(o record.Order) string {
	var last *MaterialWait
	for i, w := range b.waits[o.ID.String()] {
		if w.ArrivesOn != nil && (last == nil || w.ArrivesOn.Compare(*last.ArrivesOn) > 0) {
			last = &b.waits[o.ID.String()][i]
		}
	}
	if last == nil {
		return "material is short"
	}
	return fmt.Sprintf("material is short, %s; ordered now, it is here on %s", last.Material, last.ArrivesOn)
}

// at is the kind of operation that the order is being worked on at, "" for none.
func (b *Backlog) at(o record.Order) string {
	for _, j := range b.jobs {
		if j.Key != o.ID.String() {
			continue
		}
		for _, k := range j.Operations {
			if k.Started && k.WorkCenter != "" {
				return k.Kind
			}
		}
	}
	return ""
}

// overtaken tells whether an order that was placed after an instant is worked on at a
// center while the order waits for it.
func (b *Backlog) overtaken(o record.Order, center string, since time.Time) bool {
	job := o.ID.String()
	for _, p := range b.plan.Placements {
		if p.Job != job || p.WorkCenter != center || !p.Start.After(p.Ready) {
			continue
		}
		if slices.ContainsFunc(b.plan.Placements, func(q schedule.Placement) bool {
			return q.Job != job && q.WorkCenter == center && q.LaborEnd.After(p.Ready) && q.Start.Before(p.Start) && b.orders[q.Job].CreatedAt.After(since)
		}) {
			return true
		}
	}
	return false
}

// center is the name of a work center.
func (b *Backlog) center(key string) string {
	for _, c := range b.engine.Documents().Profile.Centers {
		if c.Key == key && len(c.Name) > 1 && strings.ToLower(c.Name[1:]) == c.Name[1:] {
			return strings.ToLower(c.Name)
		}
	}
	return key // or the name is one that has capitals of its own
}

// moldWords is how a person tells the mold of a schedule's key from others.
func (s *Service) moldWords(ctx context.Context, key string) (string, error) {
	id, err := uuid.Parse(strings.TrimPrefix(key, routing.MoldKey("")))
	if err != nil {
		return "a mold", nil //nolint:nilerr // one of the order's own
	}
	m, err := s.store.Molds().Get(ctx, worker.Scope(), id)
	if err != nil {
		return "", err
	}
	return moldName(m), nil
}

// closedSince is the clock time of the days until an end that were working days by
// one calendar and are none by the next.
func closedSince(then, now *schedule.Calendar, o backlog.Outlook) time.Duration {
	if then == now {
		return 0
	}
	days := 0
	last := schedule.DateOf(o.End, now.Location())
	for d := schedule.DateOf(o.Seen, now.Location()); d.Compare(last) <= 0; d = d.AddDays(1) {
		if then.IsWorkingDay(d) && !now.IsWorkingDay(d) {
			days++
		}
	}
	return time.Duration(days) * 24 * time.Hour
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
