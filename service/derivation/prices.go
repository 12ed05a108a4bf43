package derivation

import (
	"fmt"

	"hatchwright/service/bill"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// rulePrices rules on the prices of what the configuration itself names, and of
// what every hatch takes. Sheets are known once the molds are: those that lack a
// price are told when the hatch is derived.
func (e *Engine) rulePrices(s *state) []finding.Finding {
	var list []finding.Finding
	told := map[string]bool{}
	ask := func(key, unit, pointer string, others []string) {
		if key == "" || told[key] {
			return
		}
		told[key] = true
		if p, ok := e.docs.Prices.Prices[key]; !ok || p.Unit != unit {
			list = append(list, unpriced(&bill.MissingPriceError{Key: key, Unit: unit, Has: p.Unit}, pointer, others))
		}
	}
	c := &s.config
	plies := func(l *Laminate, listed string) {
		for i, k := range l.keys() {
			pointer, unit := "/laminate/schedule", "m2"
			if c.Laminate.Schedule == part.ScheduleListed {
				pointer = fmt.Sprintf("%s/%d", listed, i)
			}
			others := []string(nil)
			if l.Core != nil && k == l.Core.Key && c.Laminate.Schedule != part.ScheduleListed {
				pointer, others = "/lid/core", e.coreWords(c.Laminate.Schedule == part.ScheduleAuto)
			}
			ask(k, unit, pointer, others)
		}
	}
	plies(&s.lid, "/laminate/lid")
	plies(&s.receiver, "/laminate/receiver")
	m := e.docs.Materials
	ask(s.lid.Resin.Key, "kg", "/laminate/resin", names(m.Resins, func(r shop.Resin) string { return r.Key }))
	ask(s.lid.Gelcoat.Key, "kg", "/gelcoat/color", names(m.Gelcoats, func(g shop.Gelcoat) string { return g.Color }))
	ask(m.Catalyst.Key, "kg", "/laminate/resin", nil)
	ask(sealKey, "m", "/seal/width", nil)
	for _, p := range s.hardware {
		ask(p.Item, "piece", fmt.Sprintf("/hardware/%d/item", p.Row), names(m.Hardware, func(f shop.Fitting) string { return f.Key }))
		if p.fitting.PadPlies > 0 {
			ask(e.docs.Profile.Standard.PadPly, "m2", fmt.Sprintf("/hardware/%d/item", p.Row), nil)
		}
	}
	ask(m.Fillers[0].Key, "kg", "/pattern", nil)
	for _, k := range m.Coatings {
		ask(k.Key, k.Unit, "/pattern", nil)
	}
	return list
}

// unpriced is the finding on a price that the book has not: never a silent zero.
func unpriced(m *bill.MissingPriceError, pointer string, others []string) finding.Finding {
	f := finding.Finding{
		Code: "price.missing", Severity: finding.Error, Pointer: pointer,
		Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: "shop setting: price book",
	}
	for _, w := range others {
		if w != m.Key {
			f.Mends = append(f.Mends, finding.Choose(pointer, w))
		}
	}
	if m.Has != "" {
		return f.Say("The price book has %q by the %s; it is needed by the %s.", m.Key, m.Has, m.Unit)
	}
	return f.Say("The price book has no price of %q by the %s (measured: prices of it; one is needed).", m.Key, m.Unit)
}
