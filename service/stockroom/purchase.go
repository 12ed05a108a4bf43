package stockroom

import (
	"fmt"
	"slices"

	"hatchwright/service/civil"
)

// Source is how a material is bought.
type Source struct {
	Supplier   string
	LeadDays   int    // working days from order to receipt
	Pack       Amount // in a pack; 0: it is bought by the unit
	LeastPacks int    // 0 stands for 1
}

// Purchase suggests to buy a material.
type Purchase struct {
	Material string
	Short    Amount // all that is short
	NeededOn civil.Date
	Packs    int
	Pack     Amount // in one
	Amount   Amount // in these packs
	Supplier string
	LeadDays int
	// OrderBy is the last working day on which an order comes in time; Late tells
	// that it is past, and an order of today arrives on Arrives.
	OrderBy civil.Date
	Late    bool
	Arrives civil.Date // of an order placed on the later of today and OrderBy
	Orders  []string   // that wait for it, the first to need it first
}

// Days tells which days are worked on.
type Days interface{ IsWorkingDay(civil.Date) bool }

// reach bounds the days looked through for working days: lead times end within a
// few years, and closures within two (schedule.MaxClosureDays).
const reach = 10 * 366

// Arrival is the day on which an order of the given day comes in: so many working
// days after it; of a day off it counts from the next working day. ok is false
// when that is over ten years ahead.
func Arrival(days Days, ordered civil.Date, lead int) (on civil.Date, ok bool) {
	d, end := ordered, ordered.AddDays(reach)
	for ; !days.IsWorkingDay(d); d = d.AddDays(1) {
		if d.Compare(end) > 0 {
			return d, false
		}
	}
	for lead > 0 {
		if d = d.AddDays(1); d.Compare(end) > 0 {
			return d, false
		}
		if days.IsWorkingDay(d) {
			lead--
		}
	}
	return d, true
}

// LatestOrder is the last working day whose order arrives on the day needed or
// before. ok is false when that is over ten years back.
//
//	order . . . lead working days . . . arrival <= needed
func LatestOrder(days Days, needed civil.Date, lead int) (on civil.Date, ok bool) {
	d, end := needed, needed.AddDays(-reach)
	for !days.IsWorkingDay(d) {
		if d = d.AddDays(-1); d.Compare(end) < 0 {
			return d, false
		}
	}
	for lead > 0 {
		if d = d.AddDays(-1); d.Compare(end) < 0 {
			return d, false
		}
		if days.IsWorkingDay(d) {
			lead--
		}
	}
	return d, true
}

// Suggest makes one purchase per material that is short, for the day on which the
// first of it is, most urgent first. What is on order already belongs among the
// lots that the demands were met from. Error: a material that sources lacks.
func Suggest(met []Met, sources map[string]Source, days Days, today civil.Date) ([]Purchase, error) {
	index := map[string]int{}
	var out []Purchase
	byDay := slices.Clone(met)
	slices.SortStableFunc(byDay, func(a, b Met) int { return a.On.Compare(b.On) })
	for _, m := range byDay {
		if m.Short == 0 {
			continue
		}
		i, known := index[m.Material]
		if !known {
			i = len(out)
			index[m.Material] = i
			out = append(out, Purchase{Material: m.Material, NeededOn: m.On})
		}
		p := &out[i]
		p.Short += m.Short
		if m.Order != "" && !slices.Contains(p.Orders, m.Order) {
			p.Orders = append(p.Orders, m.Order)
		}
	}
	for i := range out {
		p := &out[i]
		s, ok := sources[p.Material]
		if !ok {
			return nil, fmt.Errorf("suggest purchases: no source for %q: say under purchasing how it is bought", p.Material)
		}
		pack := s.Pack
		if pack <= 0 {
			pack = Unit
		}
		p.Packs = max(1, s.LeastPacks, int((p.Short+pack-1)/pack))
		p.Pack, p.Amount, p.Supplier, p.LeadDays = pack, Amount(p.Packs)*pack, s.Supplier, s.LeadDays
		if p.OrderBy, ok = LatestOrder(days, p.NeededOn, s.LeadDays); !ok {
			return nil, fmt.Errorf("suggest purchases: %q: no working day to order on: look at the shop's closures", p.Material)
		}
		p.Late = p.OrderBy.Compare(today) < 0
		from := p.OrderBy
		if p.Late {
			from = today
		}
		if p.Arrives, ok = Arrival(days, from, s.LeadDays); !ok {
			return nil, fmt.Errorf("suggest purchases: %q: no working day to receive on: look at the shop's closures", p.Material)
		}
	}
	slices.SortStableFunc(out, func(a, b Purchase) int {
		if c := a.OrderBy.Compare(b.OrderBy); c != 0 {
			return c
		}
		return slices.Compare([]string{a.Material}, []string{b.Material})
	})
	return out, nil
}
