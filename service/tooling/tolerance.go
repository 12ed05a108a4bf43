package tooling

import (
	"math"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// Distribution is how a contributor's error spreads within its ± half width.
type Distribution string

// The distributions, with the standard deviation of a half width a (JCGM
// 100:2008, Guide to the expression of uncertainty in measurement, 4.3.6, 4.3.7
// and 4.3.9; clause numbers from memory):
//
//	normal       a/3        a holds 99.73 %
//	uniform      a/sqrt 3
//	triangular   a/sqrt 6
const (
	Normal     Distribution = "normal"
	Uniform    Distribution = "uniform"
	Triangular Distribution = "triangular"
)

// deviation is the standard deviation of a half width a.
func (d Distribution) deviation(a float64) float64 {
	switch d {
	case Uniform:
		return a / math.Sqrt(3)
	case Triangular:
		return a / math.Sqrt(6)
	default: // Normal
		return a / 3
	}
}

// Contributor is one source of error of the gap between lid and receiver.
type Contributor struct {
	Name         string
	Size         float64 // ± mm, of each
	Count        int     // independent ones of this size
	Distribution Distribution
	Local        bool // differs from side to side; else the same all round
}

// Tolerance is how far the gap may come out from what was drawn, mm.
type Tolerance struct {
	Contributors []Contributor
	Nominal      float64 // least clearance expected: drawn, with Shift
	Shift        float64 // of the gap, known beforehand: the crib's nearest size, shrinkage
	WorstCase    float64 // ±, every contributor at its end
	RSS          float64 // ±, root of the sum of squares
	Deviation    float64 // standard deviation of the gap at one place
	Sides        int     // places that vary on their own
	Required     float64 // least clearance asked for
	// ProbabilityBelow is that of the gap being under Required at any side.
	ProbabilityBelow float64
	Shrinkage        float64 // e: part = mold (1 - e)
	MoldScale        float64 // that the molds are made larger by, 1: none
}

// joint is what stands between the edges of recess and lid that meet in the gap.
type joint struct {
	passes int  // of bearings, of those cuts that the two have not in common
	apart  bool // each descends from a master of its own
	// miss is how much wider than drawn the gap is planned: the crib's nearest sizes.
	miss float64
}

// jointOf follows both edges back to their masters. Errors on the way that both
// share, from the master on, move both alike and are not counted.
//
//	master ── rabbets in common ──┬── own rabbets ── (hole template) ── recess
//	                              └── own rabbets ── (hole template) ── lid
func jointOf(c *part.Configuration, needs []need, groups []group) joint {
	type place struct{ group, at int }
	var edges [2]place // recess or coaming, lid
	for i := range groups {
		for j, n := range groups[i].needs {
			switch b := needs[n].board; {
			case needs[n].part == part.Lid:
				edges[1] = place{i, j}
			case b == RecessBlock || b == CavityBoard:
				edges[0] = place{i, j}
			}
		}
	}
	common := 0 // rabbets
	j := joint{apart: edges[0].group != edges[1].group}
	if !j.apart {
		a, b := groups[edges[0].group].paths[edges[0].at], groups[edges[1].group].paths[edges[1].at]
		for common < len(a) && common < len(b) && a[common] == b[common] {
			common++
		}
	}
	sign := 1.0
	if c.SkirtOutside() {
		sign = -1 // the lid goes outside
	}
	for k, e := range edges {
		g := &groups[e.group]
		o := &needs[g.needs[e.at]].options[g.choice[e.at]]
		// Each rabbet is trimmed, a pass of its own; a hole template is one pass.
		j.passes += 2*(len(g.paths[e.at])-common) + o.passes
		if o.frame >= 0 {
			j.passes++
		}
		// A template inside its place makes the recess smaller, or the lid.
		if k == 0 {
			j.miss -= sign * g.miss[e.at]
		} else {
			j.miss += sign * g.miss[e.at]
		}
	}
	return j
}

// fitTolerance works out the chain of errors between recess and lid; g is scaled by
// size, what the molds are made larger by.
//
//	worst case   sum of n_i a_i
//	RSS          sqrt(sum of n_i a_i^2)
//
// Both molds are drawn at the parts' size times size; what the laminates
// shrink makes the gap g into g (1 - e), unless the molds are scaled, and the two
// parts' shrinkage varies, each on its own, over half the longer side.
func (c *Crib) fitTolerance(k *part.Configuration, g *part.Geometry, d shop.Documents, size float64, j joint) Tolerance {
	a := c.practice
	t := Tolerance{Required: k.Lid.LeastGap, MoldScale: size, Sides: max(1, len(g.Outlines.Lid.Corners()))}
	if resin, ok := d.Materials.Resin(k.Laminate.Resin); ok {
		t.Shrinkage = resin.Shrinkage
	}
	if !k.HasTrunk() {
		return t // a plate lies on its ring: there is no gap
	}
	t.Contributors = make([]Contributor, 0, mostContributors)
	if j.apart {
		t.add("recess master laid out", a.LayoutError, 1, Normal, true)
		t.add("lid master laid out", a.LayoutError, 1, Normal, true)
	}
	t.add("template copies", a.CopyError, j.passes, Normal, true)
	t.add("bit diameter", a.BitError/2, j.passes, Uniform, false)
	t.add("filler and fairing of the receiver's mold", a.FairingError, 1, Normal, true)
	t.add("filler and fairing of the lid's mold", a.FairingError, 1, Normal, true)
	half := math.Max(g.Outlines.Recess.Length(), g.Outlines.Recess.Width()) / 2
	t.add("shrinkage of the receiver", a.ShrinkageVariation*t.Shrinkage*half, 1, Normal, false)
	t.add("shrinkage of the lid", a.ShrinkageVariation*t.Shrinkage*half, 1, Normal, false)
	t.add("trimming of the lid's edge", a.TrimError, 1, Uniform, true)
	t.Shift = j.miss + k.Lid.Gap*(t.MoldScale*(1-t.Shrinkage)-1)
	t.Nominal = g.Fit.LeastClearance + t.Shift
	t.judge()
	return t
}

// mostContributors a gap has.
const mostContributors = 9

func (t *Tolerance) add(name string, size float64, count int, d Distribution, local bool) {
	if size > 0 && count > 0 {
		t.Contributors = append(t.Contributors, Contributor{name, size, count, d, local})
	}
}

// judge sums the contributors up.
func (t *Tolerance) judge() {
	squares, local, common := 0.0, 0.0, 0.0
	for _, k := range t.Contributors {
		n := float64(k.Count)
		t.WorstCase += n * k.Size
		squares += n * k.Size * k.Size
		v := k.Distribution.deviation(k.Size)
		if k.Local {
			local += n * v * v
		} else {
			common += n * v * v
		}
	}
	t.RSS, t.Deviation = math.Sqrt(squares), math.Sqrt(local+common)
	t.ProbabilityBelow = belowAnywhere(t.Nominal-t.Required, math.Sqrt(local), math.Sqrt(common), t.Sides)
}

// The trapezoidal rule on a smooth function that dies out at both ends errs by some
// exp(-2 pi^2 (w/h)^2), w the width of its narrowest feature: here the normal
// density's deviation, 1, or the ratio of the local to the common part, less for
// many sides. A third of it as the step leaves an error under 1e-9 for up to 12
// sides. A ratio under 1/128 is taken for that: the local part is then less than a
// hundredth of the common one. The density past quadratureReach deviations is below
// 1e-15.
const (
	quadratureReach  = 8.0
	narrowestFeature = 1.0 / 128
)

// belowAnywhere is the probability that a gap with the given margin over its least
// is under it at one or more of n sides. What is the same all round (deviation c)
// is integrated over, what differs (deviation l) is independent from side to side:
//
//	P = 1 - integral of phi(x) Phi((margin + c x)/l)^n dx
func belowAnywhere(margin, l, c float64, n int) float64 {
	below := func(m float64) float64 { // 1 - Phi(m/l)^n
		if l <= 0 {
			if m < 0 {
				return 1
			}
			return 0
		}
		q := math.Erfc(m/(l*math.Sqrt2)) / 2
		return -math.Expm1(float64(n) * math.Log1p(-math.Min(q, 1)))
	}
	switch {
	case c <= 0:
		return below(margin)
	case l <= 0:
		return math.Erfc(margin/(c*math.Sqrt2)) / 2
	}
	half := int(3 * quadratureReach / math.Max(narrowestFeature, math.Min(1, l/c)))
	h := quadratureReach / float64(half)
	sum := 0.0
	for i := -half; i <= half; i++ {
		x := float64(i) * h
		sum += math.Exp(-x*x/2) * below(margin+c*x)
	}
	return math.Min(1, sum*h/math.Sqrt(2*math.Pi))
}

// moldScale is how much larger than the parts the molds are made:
//
//	part = mold (1 - e)
func (c *Crib) moldScale(k *part.Configuration, d shop.Documents) float64 {
	if !c.practice.ScaleMolds {
		return 1
	}
	if resin, ok := d.Materials.Resin(k.Laminate.Resin); ok && resin.Shrinkage < 1 {
		return 1 / (1 - resin.Shrinkage)
	}
	return 1
}

// scale makes every plan outline larger. Depths are left: over a recess they
// shrink by less than a sheet's tolerance.
func scale(g *part.Geometry, k float64) error {
	if k == 1 {
		return nil
	}
	o := &g.Outlines
	var err error
	for _, at := range [...]*outline.Outline{&o.Recess, &o.Lid, &o.Trunk, &o.ClearOpening, &o.Flange, &o.DeckCutout} {
		if *at, err = at.Scale(k); err != nil {
			return err
		}
	}
	return nil
}
