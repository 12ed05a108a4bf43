package backlog

import (
	"time"

	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/money"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
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

// Shortening is a change that would bring the date nearer, tried by itself in the
// same futures.
type Shortening struct {
	schedule.Relief
	// Molds is how many of each part are built and pulled in turn, and Price what
	// that changes of the price, for CauseMolds alone.
	Molds int
	Price money.Amount
}

// CauseMolds is waiting for the order's own mold: pull after pull comes out of one.
const CauseMolds schedule.Cause = "molds"
