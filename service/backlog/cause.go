package backlog

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
)

// Expectation is how an order's end was seen when its promise was given, or first seen:
// what a later end is held against.
type Expectation struct {
	Promise  string
	Outlook  Outlook
	Calendar *schedule.Calendar
	Held     bool // it was on hold since
}

// Expect is how the end of an open order is seen now.
func (b *Backlog) Expect(o record.Order, f schedule.Finish) *Expectation {
	return &Expectation{Promise: o.Promise, Calendar: b.Engine.Calendar(), Outlook: Outlook{Seen: b.Plan.Origin, End: f.End, Shares: f.Critical.Shares}}
}

// Facts looks up what the words of a cause need and a backlog does not have.
type Facts interface {
	// Quoted is when an order was quoted.
	Quoted(record.Order) (time.Time, error)
	// Mold is how a person tells the mold of a schedule's key from others.
	Mold(key string) (string, error)
}

// Cause says in plain words what moved an order's end: the cause that grew most
// since its promise was given, and the next one when it grew by at least half as
// much. When that is not known (before is nil), or nothing grew by the estimates, it says where the
// time until the end goes, and no more than that. The shop alone reads it; it
// tells nothing of whose other orders are all the same. Errors are those of the facts.
func (b *Backlog) Cause(o record.Order, f schedule.Finish, before, seen *Expectation, facts Facts) (string, error) {
	if before != nil {
		closed := closedSince(before.Calendar, b.Engine.Calendar(), seen.Outlook)
		moved := Moved(before.Outlook, seen.Outlook, closed)
		if len(moved) > 0 {
			told := []string{}
			for _, m := range moved[:min(2, len(moved))] {
				if 2*m.Time < moved[0].Time {
					break
				}
				words, err := b.grown(o, m, before, facts)
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
		quoted, err := facts.Quoted(o)
		if err != nil {
			return "", err
		}
		if b.overtaken(o, d.Key, quoted) {
			return fmt.Sprintf("Another order that was placed since it was quoted is ahead of it at the %s.", b.center(d.Key)), nil
		}
	}
	return fmt.Sprintf("It cannot be done earlier behind the open work as it now stands. Most of the time until then goes to %s.", b.goesTo(o, d)), nil
}

// grown says what it means that a share of an order's time grew.
func (b *Backlog) grown(o record.Order, m schedule.Share, before *Expectation, facts Facts) (string, error) {
	switch m.Cause {
	case schedule.CauseMaterial:
		return capital(b.waitsFor(o)) + ".", nil
	case schedule.CauseMold:
		mold, err := facts.Mold(m.Key)
		if err != nil {
			return "", err
		}
		return capital(mold) + " is in use for another order for longer than it was.", nil
	case schedule.CauseQueue:
		if b.overtaken(o, m.Key, before.Outlook.Seen) {
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
	case CauseBehind:
		if before.Held {
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
	for i, w := range b.Waits[o.ID.String()] {
		if w.ArrivesOn != nil && (last == nil || w.ArrivesOn.Compare(*last.ArrivesOn) > 0) {
			last = &b.Waits[o.ID.String()][i]
		}
	}
	if last == nil {
		return "material is short"
	}
	return fmt.Sprintf("material is short, %s; ordered now, it is here on %s", last.Material, last.ArrivesOn)
}

// at is the kind of operation that the order is being worked on at, "" for none.
func (b *Backlog) at(o record.Order) string {
	for _, j := range b.Jobs {
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
	for _, p := range b.Plan.Placements {
		if p.Job != job || p.WorkCenter != center || !p.Start.After(p.Ready) {
			continue
		}
		if slices.ContainsFunc(b.Plan.Placements, func(q schedule.Placement) bool {
			return q.Job != job && q.WorkCenter == center && q.LaborEnd.After(p.Ready) && q.Start.Before(p.Start) && b.Open[q.Job].CreatedAt.After(since)
		}) {
			return true
		}
	}
	return false
}

// center is the name of a work center.
func (b *Backlog) center(key string) string {
	for _, c := range b.Engine.Documents().Profile.Centers {
		if c.Key == key && len(c.Name) > 1 && strings.ToLower(c.Name[1:]) == c.Name[1:] {
			return strings.ToLower(c.Name)
		}
	}
	return key // or the name is one that has capitals of its own
}

// closedSince is the clock time of the days until an end that were working days by
// one calendar and are none by the next.
func closedSince(then, now *schedule.Calendar, o Outlook) time.Duration {
	if then == now {
		return 0
	}
	days := 0
	last := civil.DateOf(o.End, now.Location())
	for d := civil.DateOf(o.Seen, now.Location()); d.Compare(last) <= 0; d = d.AddDays(1) {
		if then.IsWorkingDay(d) && !now.IsWorkingDay(d) {
			days++
		}
	}
	return time.Duration(days) * 24 * time.Hour
}

func capital(s string) string { return strings.ToUpper(s[:1]) + s[1:] }
