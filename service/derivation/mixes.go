package derivation

import (
	"fmt"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/part"
)

// Mix is what to weigh out for one hatch.
type Mix struct {
	Part part.Part
	// Stage is 1-based for a laminate stage, or one of the constants below.
	Stage int
	laminate.Mix
}

// The stages of a mix that is no laminate stage.
const (
	MixFiller  = 0
	MixGelcoat = -1
	MixPads    = -2 // under hardware
)

// Mixes returns what to weigh out for one hatch of a derived result at a shop
// temperature, °C: for each part the filler of its mold's fillets, the gelcoat and
// each laminate stage. Where a product's table does not cover the temperature
// there are no mixes; the findings say which product and within what it would. With
// mixes the findings are cautions on doses that are not usual.
// Errors are shop data that no mix can be made from.
func (e *Engine) Mixes(r *Result, temperature float64) ([]Mix, []finding.Finding, error) {
	if list := e.ruleTemperature(r.Lid.Resin, r.Lid.Gelcoat, temperature); len(list) > 0 {
		return nil, list, nil
	}
	work := e.mixing(temperature)
	paste := work
	paste.Waste = e.docs.Profile.Waste.Filler
	var out []Mix
	for _, m := range r.Molds {
		l := &r.Receiver
		if m.Part == part.Lid {
			l = &r.Lid
		}
		if m.FillerVolume > 0 {
			mix, err := e.docs.Materials.Fillers[0].Material().Mix(m.FillerVolume/cubicCentimeter, paste)
			if err != nil {
				return nil, nil, fmt.Errorf("filler of the %s mold: %w", m.Part, err)
			}
			out = append(out, Mix{m.Part, MixFiller, mix})
		}
		mixes, err := l.mixes(work)
		if err != nil {
			return nil, nil, fmt.Errorf("mixes of the %s: %w", m.Part, err)
		}
		for i, mix := range mixes {
			stage := i
			if i == 0 {
				stage = MixGelcoat
			}
			out = append(out, Mix{m.Part, stage, mix})
		}
		if m.Part == part.Lid && l.PadPlyArea > 0 {
			pads, err := laminate.Solid(nil, e.pad(l.Resin)).Mixes(l.PadPlyArea*squareMeter, work)
			if err != nil {
				return nil, nil, fmt.Errorf("mixes of the pads: %w", err)
			}
			pads[0].What = "pads"
			out = append(out, Mix{m.Part, MixPads, pads[0]})
		}
	}
	return out, e.ruleDose(r.Lid.Resin, r.Lid.Gelcoat, temperature), nil
}

// cubicCentimeter in mm3.
const cubicCentimeter = 1000.0

// mixes are the gelcoat's and each stage's. The core is bedded over its own area,
// the plies are laid over the whole: its bedding is spread over that here, so that
// the sum is the same.
func (l *Laminate) mixes(work laminate.Shop) ([]laminate.Mix, error) {
	stack := l.Stack
	if stack.Core != nil {
		core := *stack.Core
		core.BedResin *= l.CoreArea / l.LaidArea
		stack.Core = &core
	}
	return stack.Mixes(l.LaidArea*squareMeter, work)
}

// catalyst sums the peroxide of a part's mixes, kg; the filler's hardener comes
// with it. No part: of both.
func catalyst(mixes []Mix, of part.Part) float64 {
	sum := 0.0
	for _, m := range mixes {
		if m.Stage != MixFiller && (of == "" || m.Part == of) {
			sum += m.CatalystMass
		}
	}
	return sum
}
