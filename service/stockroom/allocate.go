package stockroom

import (
	"cmp"
	"slices"

	"hatchwright/service/civil"
)

// Lot is what can be taken from.
type Lot struct {
	ID       string
	Material string
	Free     Amount      // on hand and not set aside
	Received civil.Date  //
	Expires  *civil.Date // nil: it does not age
}

// Demand is an amount of a material that is needed on a day.
type Demand struct {
	Order    string
	Material string
	Amount   Amount
	On       civil.Date
}

// Take is part of a demand met from a lot.
type Take struct {
	Lot    string
	Amount Amount
}

// Met is a demand with the lots that meet it and what is short.
type Met struct {
	Demand
	Takes []Take
	Short Amount
}

// Order is the order in which lots are taken: what expires first; what never does,
// last; of equals the one received first, then by id.
func Order(a, b Lot) int {
	switch {
	case a.Expires != nil && b.Expires != nil:
		if c := a.Expires.Compare(*b.Expires); c != 0 {
			return c
		}
	case a.Expires != nil:
		return -1
	case b.Expires != nil:
		return 1
	}
	return cmp.Or(a.Received.Compare(b.Received), cmp.Compare(a.ID, b.ID))
}

// Allocate meets demands day by day, each from the lots that are good on its day,
// first expired first out. Of one day the demands are met in the order given. No
// other way of handing out the lots leaves less short in all: what is taken from
// the lot that ends first could at most have been taken from it later.
//
// The result is in the order of the demands given. Lots with nothing free and
// demands of nothing are passed over.
func Allocate(lots []Lot, demands []Demand) []Met {
	out := make([]Met, len(demands))
	order := make([]int, len(demands))
	for i, d := range demands {
		out[i], order[i] = Met{Demand: d}, i
	}
	slices.SortStableFunc(order, func(a, b int) int { return demands[a].On.Compare(demands[b].On) })
	left := map[string][]Lot{}
	for _, l := range lots {
		if l.Free > 0 {
			left[l.Material] = append(left[l.Material], l)
		}
	}
	for _, list := range left {
		slices.SortFunc(list, Order)
	}
	for _, k := range order {
		m := &out[k]
		m.Short = max(0, m.Amount)
		list := left[m.Material]
		for i := range list {
			l := &list[i]
			if m.Short == 0 {
				break
			}
			if l.Free == 0 || Past(l.Expires, m.On) {
				continue
			}
			a := min(l.Free, m.Short)
			m.Takes = append(m.Takes, Take{l.ID, a})
			l.Free, m.Short = l.Free-a, m.Short-a
		}
	}
	return out
}
