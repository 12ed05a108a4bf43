package backlog

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"hatchwright/service/bill"
	"hatchwright/service/derivation"
	"hatchwright/service/money"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// mostMolds bounds how many molds of a part are tried: more than a small shop has the
// room for (shop rule).
const mostMolds = 4

// leastSaving is what a change has to bring: less is no help to anybody (shop rule).
const leastSaving = time.Hour

// shorten tries what would bring a date nearer: what the schedule can take away, at
// most most of it, and more molds, as long as one more still does. Most saving first.
func (b *Backlog) shorten(r *derivation.Result, l *LeadTime, job schedule.Job, seed [32]byte, most int, goOn func() bool) ([]Shortening, error) {
	out := []Shortening{} // asked for, whatever there is
	reliefs, err := b.Profiles.Relieve(job, l.Start, seed, most, goOn)
	if err != nil {
		return nil, err
	}
	for _, k := range reliefs {
		if k.Saves >= leastSaving {
			out = append(out, Shortening{Relief: k})
		}
	}
	saved := schedule.Relief{Cause: CauseMolds}
	for n := 2; n <= min(mostMolds, int(r.Configuration.Quantity)) && len(l.Molds) == 0; n++ {
		steps, err := b.Engine.Route(r, n)
		if err != nil {
			return nil, err
		}
		at, err := b.Profiles.PlaceWhile(routing.Job(job.Key, b.awaiting(steps, l)), l.Start, seed, goOn)
		if err != nil {
			return nil, err
		}
		saves := l.P80.Sub(at.P80)
		if saves < saved.Saves+leastSaving {
			break
		}
		saved.Saves = saves
		k := Shortening{Relief: saved, Molds: n}
		if k.Price, err = b.priceOfMolds(r, l, steps, n); err != nil {
			return nil, err
		}
		out = append(out, k)
	}
	slices.SortStableFunc(out, func(a, b Shortening) int { return cmp.Compare(b.Saves, a.Saves) })
	return out, nil
}

// awaiting holds steps up for the material that a lead time waits for.
func (b *Backlog) awaiting(steps []routing.Step, l *LeadTime) []routing.Step {
	if len(l.Waiting) == 0 {
		return steps
	}
	return routing.Await(steps, arrivals(l.Waiting), routing.Consumers(b.Engine.Documents()))
}

// priceOfMolds is what so many molds of each part in the place of one change of the
// price. What a mold is made of is taken as often; templates serve all of them, their
// boards are counted again all the same.
func (b *Backlog) priceOfMolds(r *derivation.Result, l *LeadTime, steps []routing.Step, molds int) (money.Amount, error) {
	needs := make([]bill.Need, 0, len(r.Bill.Lines))
	for _, line := range r.Bill.Lines {
		n := line.Need
		if n.Purpose == bill.ForMold {
			n.Net, n.Gross = n.Net*float64(molds), n.Gross*float64(molds)
		}
		needs = append(needs, n)
	}
	all, err := bill.Make(needs, derivation.Labor(steps), int(r.Configuration.Quantity), b.Engine.Documents().Prices)
	if err != nil {
		return money.Amount{}, fmt.Errorf("bill with %d molds of each part: %w", molds, err)
	}
	more, err := all.Totals.Price.Value.Sub(l.Bill.Totals.Price.Value)
	if err != nil {
		return money.Amount{}, fmt.Errorf("price with %d molds of each part: %w", molds, err)
	}
	return money.Amount{Value: more, Currency: l.Bill.Totals.Price.Currency}, nil
}
