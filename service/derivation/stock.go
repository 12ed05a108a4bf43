package derivation

import (
	"fmt"
	"math"
	"time"

	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/finding"
	"hatchwright/service/quantity"
	"hatchwright/service/routing"
)

// Lot is material that is on hand.
type Lot struct {
	Material, Unit string
	Batch          string      // the maker's, "" for none
	OnHand         float64     // in Unit
	Free           float64     // of it, not set aside
	Expires        *civil.Date // the last day on which it is good; nil: it does not age
}

// name is what the floor finds the lot by.
func (l Lot) name() string {
	if l.Batch != "" {
		return fmt.Sprintf("lot %q", l.Batch)
	}
	return "a lot without a batch"
}

// TakeStock takes what is on hand before anything is bought, and rules on its age.
// Counted is what is free, good today and good still on the last day on which the
// work, started as the result says, begins to use it. What is not for its age or its
// unit is a finding. b is the bill of the result, or what is left of it; the verdict
// follows the findings. Errors are the bill's.
func (e *Engine) TakeStock(r *Result, b *bill.Bill, lots []Lot, today civil.Date) error {
	free := map[string]float64{}
	for i := range b.Lines {
		line := &b.Lines[i]
		if _, done := free[line.Key]; done {
			continue
		}
		free[line.Key] = 0
		use := e.lastUse(r, line.Key, today)
		var past, ages, strange aged
		for _, l := range lots {
			switch {
			case l.Material != line.Key:
			case l.Unit != line.Unit:
				strange.take(l)
			case l.Expires == nil || l.Expires.Compare(use) >= 0:
				free[line.Key] += math.Max(0, l.Free)
			case l.Expires.Compare(today) < 0:
				past.take(l)
			default:
				ages.take(l)
			}
		}
		at := e.materialAt(r, line.Key)
		if past.lots > 0 {
			r.Findings = append(r.Findings, past.finding(at, line.Key, today, free[line.Key] > 0))
		}
		if ages.lots > 0 {
			over := quantity.Of(days(*ages.first.Expires, use), quantity.Day)
			r.Findings = append(r.Findings, finding.Finding{
				Code: "stock.ages_before_use", Severity: finding.Caution, Pointer: at, Measured: over, Limit: quantity.Of(0, quantity.Day), Source: shelfLife,
			}.Say("Of %q %s %s (%s) is good until %s, and is still to be used on %s: it is not counted, buy for it.",
				line.Key, amount(ages.onHand), line.Unit, ages.first.name(), ages.first.Expires, use))
		}
		if strange.lots > 0 {
			r.Findings = append(r.Findings, finding.Finding{
				Code: "stock.unit_differs", Severity: finding.Caution, Pointer: at, Measured: quantity.Of(float64(strange.lots), quantity.Count), Limit: quantity.Of(0, quantity.Count),
				Source: "shop setting: price book",
			}.Say("Of %q %s is on hand by the %s (%s); the price book has it by the %s: it is not counted, take it in anew by the %s.",
				line.Key, amount(strange.onHand), strange.first.Unit, strange.first.name(), line.Unit, line.Unit))
		}
	}
	finding.Sort(r.Findings)
	r.Verdict = finding.Judge(r.Findings)
	return b.Take(free)
}

// AgedMixes rules on the age of what the mixes are made of. Amounts are told in the
// lots' own units.
func (e *Engine) AgedMixes(r *Result, mixes []Mix, lots []Lot, today civil.Date) []finding.Finding {
	var list []finding.Finding
	told := map[string]bool{}
	rule := func(key string) {
		if told[key] {
			return
		}
		told[key] = true
		var past aged
		good := false
		for _, l := range lots {
			switch {
			case l.Material != key:
			case l.Expires != nil && l.Expires.Compare(today) < 0:
				past.take(l)
			default:
				good = good || l.Free > 0
			}
		}
		if past.lots > 0 {
			list = append(list, past.finding(e.materialAt(r, key), key, today, good))
		}
	}
	for _, m := range mixes {
		rule(m.Product)
		if m.Stage != MixFiller {
			rule(e.docs.Materials.Catalyst.Key)
		}
	}
	finding.Sort(list)
	return list
}

// shelfLife is where the limit of an age is from.
const shelfLife = "shop setting: the day to which each lot is good"

// aged gathers lots of one material that are not counted.
type aged struct {
	lots   int
	first  Lot // the one that is oldest
	onHand float64
}

func (a *aged) take(l Lot) {
	if a.lots == 0 || l.Expires != nil && l.Expires.Compare(*a.first.Expires) < 0 {
		a.first = l
	}
	a.lots++
	a.onHand += l.OnHand
}

// finding is on lots that are past their age.
func (a aged) finding(pointer, key string, today civil.Date, rest bool) finding.Finding {
	f := finding.Finding{
		Code: "stock.past_age", Severity: finding.Caution, Pointer: pointer,
		Measured: quantity.Of(days(*a.first.Expires, today), quantity.Day), Limit: quantity.Of(0, quantity.Day), Source: shelfLife,
	}
	then := "use another lot and scrap this"
	if !rest {
		then = "no good lot is free, buy before the work, and scrap this"
	}
	return f.Say("Of %q %s %s is past its age; %s was good until %s, %v ago. It is not to be used: %s.",
		key, amount(a.onHand), a.first.Unit, a.first.name(), a.first.Expires, f.Measured, then)
}

// amountPlaces are the decimals of a stock's amounts in sentences.
const amountPlaces = 3

func amount(x float64) string { return quantity.Decimal(x, amountPlaces) }

// days from one date to another.
func days(from, to civil.Date) float64 {
	return math.Round(to.At(0, time.UTC).Sub(from.At(0, time.UTC)).Hours() / 24)
}

// lastUse is the last day on which an operation begins that takes of the material, by
// the result's own plan, and not before today.
func (e *Engine) lastUse(r *Result, key string, today civil.Date) civil.Date {
	kinds := []string{routing.Consumers(e.docs)[key]}
	if key == e.docs.Materials.Catalyst.Key {
		kinds = append(kinds, laminating) // and not only the gelcoat, where it is needed first
	}
	last := today
	for i := range r.LeadTime.Placements {
		for _, k := range kinds {
			if r.LeadTime.Steps[i].Kind != k {
				continue
			}
			if on := civil.DateOf(r.LeadTime.Placements[i].Start, e.Location()); on.Compare(last) > 0 {
				last = on
			}
		}
	}
	return last
}

// laminating is the kind of operation that lays the stages.
const laminating = "laminate"

// materialAt points to the figure of the configuration that asks for a material.
func (e *Engine) materialAt(r *Result, key string) string {
	for i, h := range r.Configuration.Hardware {
		if h.Item == key {
			return fmt.Sprintf("/hardware/%d/item", i)
		}
	}
	switch key {
	case r.Lid.Gelcoat.Key:
		return "/gelcoat/color"
	case sealKey:
		return "/seal/width"
	case r.Lid.Resin.Key, e.docs.Materials.Catalyst.Key:
		return "/laminate/resin"
	}
	if r.Lid.Core != nil && r.Lid.Core.Key == key {
		return "/lid/core"
	}
	if _, glass := e.docs.Materials.Ply(key); glass {
		return "/laminate/schedule"
	}
	return "/pattern"
}
