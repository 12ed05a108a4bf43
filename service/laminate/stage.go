package laminate

import "math"

// DefaultExothermLimit is the most laminate laid in one stage when the resin gives none, mm.
//
// Common practice, no source (3 to 5 mm of polyester).
const DefaultExothermLimit = 4.0

// Stage is what is laid between two waits for gel and cooling.
type Stage struct {
	// First and Last are indexes into Stack.Plies; Last < First for a stage that only beds the core.
	First, Last int
	// Core tells that the stage begins with bedding the core.
	Core bool
	// Resin wets the stage out.
	Resin Resin
	// Thickness of its plies, mm; GlassMass and ResinMass, kg/m², without waste, with the core's bedding.
	Thickness, GlassMass, ResinMass float64
	// Over tells that one ply alone is thicker than the exotherm limit.
	Over bool
}

// Stages splits the stack: consecutive plies of one resin until the next would pass the resin's exotherm limit. The
// core starts a stage of its own, so that it is bedded on a skin that has gelled.
func (s Stack) Stages() []Stage {
	var out []Stage
	lay := func(i int, p Ply, bed bool) {
		limit := orDefault(p.Resin.ExothermLimit, DefaultExothermLimit)
		t := p.Thickness()
		n := len(out) - 1
		fresh := bed || n < 0 || out[n].Resin.Key != p.Resin.Key || out[n].Thickness+t > limit
		if fresh {
			out = append(out, Stage{First: i, Last: i - 1, Resin: p.Resin, Core: bed, Over: t > limit})
			n++
			if bed {
				out[n].ResinMass = s.Core.BedResin
			}
		}
		out[n].Last = i
		out[n].Thickness += t
		out[n].GlassMass += p.GlassMass()
		out[n].ResinMass += p.ResinMass()
	}
	for i, p := range s.Outer {
		lay(i, p, false)
	}
	for i, p := range s.Inner {
		lay(len(s.Outer)+i, p, i == 0 && s.Core != nil)
	}
	return out
}

// Plies is the number of plies of the stage.
func (s Stage) Plies() int { return int(math.Max(0, float64(s.Last-s.First+1))) }
