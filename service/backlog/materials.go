package backlog

import (
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
	"hatchwright/service/stockroom"
	"hatchwright/service/tooling"
)

// NeedsOf lists the material that a derivation takes, with waste, apart from what
// builds molds that are registered. Lines of one material and part are one need.
func NeedsOf(r *derivation.Result, d shop.Documents, registered map[string]string) ([]Need, error) {
	consumers := routing.Consumers(d)
	var out []Need
	for _, l := range r.Bill.Lines {
		share := stillBuilt(&l.Need, r, registered)
		if share == 0 {
			continue
		}
		a, err := stockroom.Of(share * l.Gross)
		if err != nil {
			return nil, fmt.Errorf("need of %q: %w", l.Key, err)
		}
		kind := consumers[l.Key]
		if kind == "" {
			kind = "fit_check"
		}
		i := slices.IndexFunc(out, func(n Need) bool { return n.Material == l.Key && n.Part == l.Part })
		if i < 0 {
			i = len(out)
			out = append(out, Need{Material: l.Key, Unit: l.Unit, Kind: kind, Part: l.Part})
		}
		out[i].Amount += a
	}
	return out, nil
}

// stillBuilt is the share of a need that is left when the molds of the parts in
// registered are there: 0 for what builds those molds, 1 for what builds none. Boards
// are cut for all molds together, so theirs is the share of the area that is still
// sawn of a stock: the panels of the molds to build, and the templates while there is
// one to build.
func stillBuilt(n *bill.Need, r *derivation.Result, registered map[string]string) float64 {
	if n.Purpose != bill.ForMold || len(registered) == 0 {
		return 1
	}
	if n.Part != "" {
		if _, there := registered[n.Part]; there {
			return 0
		}
		return 1
	}
	build := slices.ContainsFunc(r.Molds, func(m tooling.Mold) bool { _, there := registered[string(m.Part)]; return !there })
	if !build {
		return 0
	}
	all, left := 0.0, 0.0
	for i := range r.Panels {
		p := &r.Panels[i]
		if p.Stock != n.Key {
			continue
		}
		area := p.Length * p.Width * float64(p.Quantity)
		all += area
		there := slices.ContainsFunc(r.Molds, func(m tooling.Mold) bool {
			_, registered := registered[string(m.Part)]
			return registered && p.Part == m.Part
		})
		if !there {
			left += area
		}
	}
	if all == 0 {
		return 1
	}
	return left / all
}

// remaining is what an order still takes: needs of operations that are not done,
// less what it has reserved or used.
func remaining(p Plan, j schedule.Job, reserved map[string]stockroom.Amount) []Need {
	var out []Need
	left := map[string]bool{}
	for _, o := range j.Operations {
		if !o.Started {
			left[o.Kind] = true
		}
	}
	for _, n := range p.Needs {
		if !left[n.Kind] {
			continue
		}
		has := min(reserved[n.Material], n.Amount)
		reserved[n.Material] -= has
		if n.Amount -= has; n.Amount > 0 {
			out = append(out, n)
		}
	}
	return out
}

// arrivals are the waits as the routing takes them.
func arrivals(list []MaterialWait) []routing.Arrival {
	var out []routing.Arrival
	for _, w := range list {
		if w.ArrivesOn != nil && !w.at.IsZero() {
			out = append(out, routing.Arrival{Material: w.Material, Part: w.Part, At: w.at})
		}
	}
	return out
}

// await puts into each job when its material can be there, in the order in which the
// jobs are scheduled, and returns what each still needs.
func (b *Backlog) await(plans map[uuid.UUID]Plan, reservations []record.Reservation) map[string][]Need {
	own := map[string]map[string]stockroom.Amount{}
	for _, r := range reservations {
		key := r.OrderID.String()
		if own[key] == nil {
			own[key] = map[string]stockroom.Amount{}
		}
		own[key][r.Material] += r.Amount + r.Issued
	}
	needs := map[string][]Need{}
	taken := map[string]stockroom.Amount{}
	consumers := routing.Consumers(b.Engine.Documents())
	for _, k := range schedule.PriorityOrder(b.Jobs) {
		j := &b.Jobs[k]
		reserved := own[j.Key]
		if reserved == nil {
			reserved = map[string]stockroom.Amount{}
		}
		plan := plans[b.Open[j.Key].ID]
		needs[j.Key] = remaining(plan, *j, reserved)
		b.Waits[j.Key] = b.Shelf.lacks(needs[j.Key], taken)
		waits := arrivals(b.Waits[j.Key])
		if len(waits) == 0 {
			continue
		}
		parts := make(map[string]string, len(plan.Operations))
		for _, o := range plan.Operations {
			parts[o.Key] = o.Part
		}
		steps := make([]routing.Step, len(j.Operations))
		for i, o := range j.Operations {
			steps[i] = routing.Step{Operation: o, Part: parts[o.Key]}
		}
		for i, s := range routing.Await(steps, waits, consumers) {
			j.Operations[i] = s.Operation
		}
	}
	for material, a := range taken {
		b.Shelf.Free[material] -= a
	}
	return needs
}

// date notes on which day each need comes up by the plan.
func (b *Backlog) date(needs map[string][]Need) {
	first := map[[2]string]time.Time{} // by order and kind of operation
	kinds := map[string]map[string]string{}
	for _, j := range b.Jobs {
		kinds[j.Key] = map[string]string{}
		for _, o := range j.Operations {
			kinds[j.Key][o.Key] = o.Kind
		}
	}
	for _, p := range b.Plan.Placements {
		at := [2]string{p.Job, kinds[p.Job][p.Operation]}
		if t, ok := first[at]; !ok || p.Start.Before(t) {
			first[at] = p.Start
		}
	}
	for _, j := range b.Jobs {
		for _, n := range needs[j.Key] {
			start, ok := first[[2]string{j.Key, n.Kind}]
			if !ok {
				continue
			}
			b.Needs = append(b.Needs, OrderNeed{j.Key, n.Material, n.Amount, civil.DateOf(start, b.Engine.Location())})
		}
	}
}

// Awaited is what the open orders still take beyond what they have reserved, but for
// the one that is to be replaced (nil: none).
func (b *Backlog) Awaited(replaced *uuid.UUID) map[string]stockroom.Amount {
	out := map[string]stockroom.Amount{}
	for _, n := range b.Needs {
		if replaced == nil || n.Order != replaced.String() {
			out[n.Material] += n.Amount
		}
	}
	return out
}
