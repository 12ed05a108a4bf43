package derivation

import (
	"fmt"
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// Strip is a check of the receiver: a strip one mm wide that stands out from its
// root like a cantilever.
type Strip struct {
	Name        string  // ledge or flange
	Load        float64 // at its end, N/mm
	Lever       float64 // mm
	Stress      float64 // largest, MPa
	Allowable   float64 // MPa
	Utilization float64
	// EdgeLoad is the force that the lid's own check puts on its edge, plate factor in, with the seal's, N/mm, and
	// EdgeUtilization the strip's under it; 0 where the lid was not checked.
	EdgeLoad        float64
	EdgeUtilization float64
}

// seatLoad is the most that a mm of seat bears, N/mm: the seal's own force and the
// lid's load, spread as by a lid that is rigid against its seal.
//
//	q = f + F (1/L + e_a (a/2)/I_a + e_b (b/2)/I_b)          a force F as far out as it can stand
//	L = 2 (a + b)   I_a = b a²/2 + a³/6   I_b = a b²/2 + b³/6   e = max(side/2 - c, 0)
//	round: L = 2 pi R   I = pi R³   q = f + F (1/L + (R - c) R/I)
//	q = f + p a b/L                                          a pressure p
//
// I is the second moment of the seat's line about its middle. Source: rigid body on
// an elastic line, elementary mechanics; that the lid is rigid is a shop rule, and
// the corner's sum of both directions is conservative.
func seatLoad(p laminate.Panel, loads []laminate.Case, seal float64) float64 {
	most := 0.0
	for _, c := range loads {
		if !c.Strength {
			continue
		}
		q := 0.0
		if r := p.Radius; r > 0 {
			round := 2 * math.Pi * r
			q = c.Pressure * r / 2
			if c.Force > 0 {
				q = c.Force * (1/round + math.Max(r-c.Radius, 0)*r/(math.Pi*r*r*r))
			}
		} else {
			a, b := p.A, p.B
			around := 2 * (a + b)
			q = c.Pressure * a * b / around
			if c.Force > 0 {
				ia, ib := b*a*a/2+a*a*a/6, a*b*b/2+b*b*b/6
				q = c.Force * (1/around + math.Max(a/2-c.Radius, 0)*a/2/ia + math.Max(b/2-c.Radius, 0)*b/2/ib)
			}
		}
		most = math.Max(most, q)
	}
	return seal + most
}

// strips works out the ledge and the flange of a flush receiver.
//
//	ledge   the seat's load at the middle of the ledge, W/2 from the wall
//	flange  the same load where the receiver hangs, from the wall to the deck's edge: t + c
//	stress  M E_i (z - z_n)/EI of the worst ply, M = load × lever; allowed 0.5 suf (0.8 of it untested)
//
// The trunk's wall stiffens the ledge's inner edge and is left out: conservative.
// Source of the allowable: ISO 12215-5:2008 table 7 and annex C.
func (e *Engine) strips(c *part.Configuration, l *Laminate, load float64) ([]Strip, error) {
	rules := e.docs.Profile.Strength.Rules()
	factor, share := laminate.UntestedFactor, laminate.AllowableShare
	if rules.Tested {
		factor = 1
	}
	if rules.Allowable > 0 {
		share = rules.Allowable
	}
	section, err := l.Stack.Section(factor)
	if err != nil {
		return nil, err
	}
	var flexural []float64
	for _, p := range l.Stack.Plies() {
		for _, k := range p.Components() {
			flexural = append(flexural, share*factor*k.Strength().Flexural)
		}
	}
	out := []Strip{
		{Name: "ledge", Load: load, Lever: c.Receiver.LedgeWidth / 2},
		{Name: "flange", Load: load, Lever: l.SkirtThickness + c.Receiver.FittingClearance},
	}
	for i := range out {
		s := &out[i]
		for _, k := range section.Stresses(s.Load * s.Lever) {
			stress := math.Max(math.Abs(k.Top), math.Abs(k.Bottom))
			if u := stress / flexural[k.Layer]; u > s.Utilization {
				s.Utilization, s.Stress, s.Allowable = u, stress, flexural[k.Layer]
			}
		}
	}
	return out, nil
}

// ruleReceiver rules on the receiver's laminate: the standard's least, and the
// strips of ledge and flange. It is quick enough for every step of a search.
func (e *Engine) ruleReceiver(s *state) []finding.Finding {
	c, l := &s.config, &s.receiver
	if s.geometry.Stage < part.StageWhole || len(l.Stages) == 0 {
		return nil
	}
	at := laminatePointer(c, part.Receiver)
	heavier := func(f *finding.Finding) { e.heavier(c, f) }
	var list []finding.Finding
	if ruled(c.Duty) {
		list = minimum(at, l.Thickness, c.Duty.WaterlineLength/millimetersPerMeter, part.Receiver, heavier)
	}
	if !c.HasLeg(part.Ledge) {
		return list // the seat stands on a wall
	}
	p := panel(c, s.geometry)
	loads, fault := cases(c.Duty, p)
	if fault != nil {
		return list // told with the lid
	}
	strips, err := e.strips(c, l, seatLoad(p, loads, e.docs.Profile.Seal.ForceAt(c.Seal.Compression)))
	if err != nil {
		return list // the stack was refused, which was told
	}
	s.receiver.Strips = strips
	for _, k := range strips {
		if k.Utilization <= 1+utilizationSlack {
			continue
		}
		f := finding.Finding{
			Code: "receiver." + k.Name + "_weak", Severity: finding.Caution, Pointer: stripPointers[k.Name], Measured: quantity.Of(k.Utilization, quantity.Ratio), Limit: quantity.Of(1, quantity.Ratio),
			Mends: []finding.Mend{finding.Seek(stripPointers[k.Name], quantity.Down)}, Source: "cantilever strip, the trunk's help left out (conservative); " + laminate.Basis + " table 7 and annex C",
		}.Say("The %s, as a strip with %s N on each mm at %v from its root, is used to %v of what its laminate may bear.", k.Name, quantity.Decimal(k.Load, 2),
			quantity.Length(k.Lever), quantity.Of(100*k.Utilization, quantity.Percent))
		heavier(&f)
		list = append(list, f)
	}
	return list
}

// ruleEdge holds ledge and flange against the force that the lid's own check puts on its edge, plate factor in, with
// the seal's: a lid that is stiff against a rim that gives nothing. The strips of ruleReceiver have the same load
// spread by a lid that is rigid on a soft seal. How it is really shared lies between the two; where the first is too
// much for a strip that the second leaves standing, that is told. It follows ruleStrength, which works the lid out.
//
//	q = f + V     V the largest of Result.EdgeForce over the cases of strength
func (e *Engine) ruleEdge(s *state) []finding.Finding {
	c, l := &s.config, &s.receiver
	if !c.HasLeg(part.Ledge) || len(l.Strips) == 0 {
		return nil
	}
	edge := 0.0
	for _, r := range s.lid.Checks {
		if r.Case.Strength {
			edge = math.Max(edge, r.EdgeForce)
		}
	}
	if edge == 0 {
		return nil // the lid was not checked, which was told
	}
	seal := e.docs.Profile.Seal.ForceAt(c.Seal.Compression)
	var list []finding.Finding
	l.Strips = slices.Clone(l.Strips) // those of the state this one came from stay
	for i := range l.Strips {
		k := &l.Strips[i]
		k.EdgeLoad = seal + edge
		k.EdgeUtilization = k.Utilization * k.EdgeLoad / k.Load // stress goes with the load
		if k.EdgeUtilization <= 1+utilizationSlack {
			continue
		}
		f := finding.Finding{
			Code: edgeCode(k.Name), Severity: finding.Caution, Pointer: stripPointers[k.Name], Measured: quantity.Of(k.EdgeUtilization, quantity.Ratio), Limit: quantity.Of(1, quantity.Ratio),
			Source: "cantilever strip under the edge force of the lid's own check; how the load is shared is not worked out",
		}.Say("The lid's own check puts %s N on a mm of its edge (%s N of the plate, times %s); with the seal's %s N the %s is used to %v of what its laminate may bear. Spread by a lid that is rigid on its seal it is %v: how the load is really shared lies between.",
			quantity.Decimal(edge, 2), quantity.Decimal(edge/laminate.PlateFactor, 2), quantity.Decimal(laminate.PlateFactor, 2), quantity.Decimal(seal, 2), k.Name,
			quantity.Of(100*k.EdgeUtilization, quantity.Percent), quantity.Of(100*k.Utilization, quantity.Percent))
		// The strip's stress goes with its lever; a ledge must still hold the seal.
		now, _ := c.Number(f.Pointer)
		most, least := k.Lever/k.EdgeUtilization-l.SkirtThickness, 0.0
		if k.Name == "ledge" {
			most, least = 2*k.Lever/k.EdgeUtilization, now-(s.geometry.LedgeFlat-c.Seal.Width)
		}
		if most > least && most < now {
			f.Mends = append(f.Mends, finding.AtMost(f.Pointer, quantity.Length(most)))
		}
		e.heavier(c, &f)
		list = append(list, f)
	}
	return list
}

// edgeCode is the code of ruleEdge for a strip.
func edgeCode(strip string) string { return "receiver." + strip + "_under_lid_edge" }

func underLidEdge(f finding.Finding) bool {
	return f.Code == edgeCode("ledge") || f.Code == edgeCode("flange")
}

// stripPointers are the figures that a strip's lever follows.
var stripPointers = map[string]string{"ledge": "/receiver/ledge_width", "flange": "/receiver/fitting_clearance"}

// heavier offers heavier last plies of a listed receiver.
func (e *Engine) heavier(c *part.Configuration, f *finding.Finding) {
	if c.Laminate.Schedule != part.ScheduleListed {
		return
	}
	last := len(c.Laminate.Receiver) - 1
	row, _ := e.docs.Materials.Ply(c.Laminate.Receiver[last])
	for _, r := range e.docs.Materials.Reinforcements {
		if r.ArealMass+r.MatMass > row.ArealMass+row.MatMass {
			f.Mends = append(f.Mends, finding.Choose(fmt.Sprintf("/laminate/receiver/%d", last), r.Key))
		}
	}
}

// utilizationSlack keeps a mend that lands on 1 from being lost to float64 noise.
const utilizationSlack = 1e-9
