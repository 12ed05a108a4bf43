package derivation

import (
	"fmt"
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// gravity, m/s2 (standard).
const gravity = 9.80665

// openLid is the lid on its hinges, thrown back to its stop.
//
//	     far edge
//	    /
//	   /  <- hand, or gust over the whole lid
//	  / W
//	 /
//	o pin, at the hinged edge      stop: the leaf bears StopArm from the pin
type openLid struct {
	weight float64 // W, N
	reach  float64 // e, from the pin to the far edge, mm
	middle float64 // c, from the pin to where the lid balances, mm
	area   float64 // A, mm2
}

// opened works the open lid out from the rules' own figures: sharp corners, core to
// the edge, so that it is a little heavier than the part that is weighed.
//
//	W = g (w_plies (A + P h) + w_core A + hardware + pads)
func (e *Engine) opened(s *state, hinged string) openLid {
	lid := s.geometry.Outlines.Lid
	plies, gelcoat := s.lid.perArea()
	mass := (plies + gelcoat) * (lid.Area() + lid.Perimeter()*s.geometry.SkirtHeight) * squareMeter
	if s.lid.Stack.Core != nil {
		mass += s.lid.Stack.Core.MassPerArea() * lid.Area() * squareMeter
	}
	pad := e.pad(s.lid.Resin)
	for _, p := range s.hardware {
		mass += p.fitting.Mass + (pad.GlassMass()+pad.ResinMass())*padArea(p.fitting)*squareMeter
	}
	for _, edge := range edges {
		if edge.name == hinged && edge.turn != 0 {
			lid = lid.Rotate(edge.turn) // the hinged edge faces +x
		}
	}
	least, most := lid.Bounds()
	return openLid{weight: gravity * mass, reach: most.X - least.X, middle: most.X - areaCenter(lid).X, area: lid.Area()}
}

// gust is what the wind presses on a flat lid across it, N.
//
//	p = cf rho v²/2
//
// rho 1.225 kg/m3 (standard atmosphere), cf 1.2 for a square plate (from memory,
// handbooks give 1.1 to 1.2).
func (o openLid) gust(speed float64) float64 {
	const rho, cf = 1.225, 1.2
	return cf * rho * speed * speed / 2 * o.area * squareMeter
}

// ruleOpen loads the hinges with the open lid and rules on it. The lid stands at the
// shop's angle phi from closed; a hand at the far edge or a gust presses on, whichever
// is worse. n hinges share it.
//
//	rest   M0 = W c |cos phi|
//	hold   M0 + p A c <= n T          T: what a hinge holds without turning
//	stop   R = (W + F)/n + (M0 + F arm)/(n a),   F arm = max(H e, p A c), a: the stop's arm
//
// The directions of the two parts of R are not told apart, which is conservative.
// Where the catalog gives no stop (the lid lies back, or a stay holds it) R is the
// first part alone.
func (e *Engine) ruleOpen(s *state, hinges []int, hinged string) []finding.Finding {
	if len(hinges) == 0 || len(s.lid.Rows) == 0 {
		return nil
	}
	set := e.docs.Profile.OpenLid.Filled()
	o := e.opened(s, hinged)
	n := float64(len(hinges))
	rest := o.weight * o.middle * math.Abs(math.Cos(set.Angle*math.Pi/180))
	gust := o.gust(set.GustSpeed)
	force, moment, cause := set.HandForce, set.HandForce*o.reach, "a hand at its far edge"
	if gust*o.middle > moment {
		force, moment, cause = gust, gust*o.middle, "a gust"
	}
	var list []finding.Finding
	told := map[int]bool{}
	held := 0.0
	for _, i := range hinges {
		p := &s.hardware[i]
		p.OpenLoad = (o.weight + force) / n
		if a := p.fitting.StopArm; a > 0 {
			p.OpenLoad += (rest + moment) / (n * a)
		}
		held += p.fitting.HoldTorque * millimetersPerMeter
	}
	for _, i := range hinges {
		p := s.hardware[i]
		if told[p.Row] {
			continue
		}
		told[p.Row] = true
		if most := p.fitting.WorkingLoad; most > 0 && p.OpenLoad > most*(1+utilizationSlack) {
			list = append(list, finding.Finding{
				Code: "hardware.overloaded_open", Severity: finding.Caution, Pointer: fmt.Sprintf("/hardware/%d/item", p.Row),
				Measured: quantity.Of(p.OpenLoad, quantity.Newton), Limit: quantity.Of(most, quantity.Newton), Mends: e.otherHinges(p, func(shop.Fitting) bool { return true }),
				Source: "shop setting: working load and stop of the fitting, loads on the open lid",
			}.Say("Open at %v, with %s, each %q bears %v; it is good for %v. A stay that takes the lid before the stop is another way.",
				quantity.Angle(set.Angle), cause, p.Item, quantity.Of(p.OpenLoad, quantity.Newton), quantity.Of(most, quantity.Newton)))
		}
		// What turns it and what holds it, as forces at the far edge.
		turns, holds := quantity.Of((rest+gust*o.middle)/o.reach, quantity.Newton), quantity.Of(held/o.reach, quantity.Newton)
		if p.fitting.HoldTorque > 0 && turns.Magnitude > holds.Magnitude*(1+utilizationSlack) {
			list = append(list, finding.Finding{
				Code: "hardware.lid_falls", Severity: finding.Caution, Pointer: fmt.Sprintf("/hardware/%d/item", p.Row),
				Measured: turns, Limit: holds, Mends: e.otherHinges(p, func(f shop.Fitting) bool { return f.HoldTorque > 0 }),
				Source: "shop setting: torque that the fitting holds, loads on the open lid",
			}.Say("Open at %v, the lid's weight and a gust press with %v at its far edge; the hinges hold %v there, and it falls.", quantity.Angle(set.Angle), turns, holds))
		}
	}
	return list
}

// otherHinges are the changes that may help a hinge: another one, or the hinges at
// another edge, from where the lid reaches less far. One that turns freely is no mend
// for one that holds too little.
func (e *Engine) otherHinges(p Placement, fit func(shop.Fitting) bool) []finding.Mend {
	var out []finding.Mend
	for _, k := range e.docs.Materials.Hardware {
		if k.Kind == shop.Hinge && k.Key != p.Item && fit(k) {
			out = append(out, finding.Choose(fmt.Sprintf("/hardware/%d/item", p.Row), k.Key))
		}
	}
	for _, edge := range edges {
		if edge.name != p.Edge {
			out = append(out, finding.Choose(fmt.Sprintf("/hardware/%d/edge", p.Row), edge.name))
		}
	}
	return out
}

// fromHinge is how far a point lies from the line of a hinged edge, less a constant.
func fromHinge(hinged string, p outline.Point) float64 {
	switch hinged {
	case Fore:
		return -p.X
	case Aft:
		return p.X
	case Port:
		return -p.Y
	}
	return p.Y
}
