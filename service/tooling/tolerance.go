package tooling

import (
	"math"
	"strings"

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

// chain is what stands between the master and an edge.
type chain struct {
	templates []string // from the master on
	passes    int      // of the board's own cut
}

// lineage finds the cut of a board and the templates it descends from.
func (p *RouterPlan) lineage(board string) chain {
	var k chain
	from := ""
	for i := range p.Steps {
		if s := &p.Steps[i]; s.To == board && (s.Operation == Copy || s.Operation == FollowOutside) {
			from, k.passes = s.From, s.Passes
		}
	}
	for from != "" && from != Drawn {
		k.templates = append(k.templates, from)
		next := ""
		for i := range p.Templates {
			if p.Templates[i].Name == from {
				next = p.Templates[i].MadeFrom
			}
		}
		from = next
	}
	for i, j := 0, len(k.templates)-1; i < j; i, j = i+1, j-1 {
		k.templates[i], k.templates[j] = k.templates[j], k.templates[i]
	}
	return k
}

// templatePasses is how often a bearing runs to make a template: a hole template
// once, a smaller template twice, rabbet and trim.
func templatePasses(name string) int {
	if strings.HasSuffix(name, holeTemplate) {
		return 1
	}
	return 2
}

// FitTolerance works out the chain of errors between recess and lid. Errors on the
// way that both share, from the master on, move both alike and are not counted.
//
//	worst case   sum of n_i a_i
//	RSS          sqrt(sum of n_i a_i^2)
//
// Both molds are drawn at the parts' size times MoldScale; what the laminates
// shrink makes the gap g into g (1 - e), unless the molds are scaled, and the two
// parts' shrinkage varies, each on its own, over half the longer side.
func FitTolerance(c *part.Configuration, g part.Geometry, d shop.Documents, p *RouterPlan, crib *Crib) Tolerance {
	a := crib.practice
	t := Tolerance{Required: c.Lid.LeastGap, MoldScale: crib.moldScale(c, d), Sides: max(1, len(g.Outlines.Lid.Corners()))}
	if resin, ok := d.Materials.Resin(c.Laminate.Resin); ok {
		t.Shrinkage = resin.Shrinkage
	}
	if !c.HasTrunk() {
		return t // a plate lies on its ring: there is no gap
	}
	seat, sign := "receiver block 1", 1.0
	if c.Pattern == part.RaisedCoaming {
		seat, sign = "receiver cavity board", -1.0 // the lid goes outside
	}
	recess, lid := p.lineage(seat), p.lineage("lid cavity board")
	common := 0
	for common < len(recess.templates) && common < len(lid.templates) && recess.templates[common] == lid.templates[common] {
		common++
	}
	passes := recess.passes + lid.passes
	for i, k := range [...]chain{recess, lid} {
		for _, name := range k.templates[max(common, min(1, len(k.templates))):] {
			passes += templatePasses(name)
		}
		if common == 0 {
			t.add([...]string{"recess master laid out", "lid master laid out"}[i], a.LayoutError, 1, Normal, true)
		}
	}
	t.add("template copies", a.CopyError, passes, Normal, true)
	t.add("bit diameter", a.BitError/2, passes, Uniform, false)
	t.add("filler and fairing of the receiver's mold", a.FairingError, 1, Normal, true)
	t.add("filler and fairing of the lid's mold", a.FairingError, 1, Normal, true)
	half := math.Max(g.Outlines.Recess.Length(), g.Outlines.Recess.Width()) / 2
	t.add("shrinkage of the receiver", a.ShrinkageVariation*t.Shrinkage*half, 1, Normal, false)
	t.add("shrinkage of the lid", a.ShrinkageVariation*t.Shrinkage*half, 1, Normal, false)
	t.add("trimming of the lid's edge", a.TrimError, 1, Uniform, true)

	for i := range p.Steps {
		switch s := &p.Steps[i]; {
		case s.Operation == Bevel || s.Operation == RoundEdge:
		case s.To == "lid cavity board":
			t.Shift -= sign * s.Miss
		case s.To == seat:
			t.Shift += sign * s.Miss
		}
	}
	t.Shift += c.Lid.Gap * (t.MoldScale*(1-t.Shrinkage) - 1)
	t.Nominal = g.Fit.LeastClearance + t.Shift
	t.judge()
	return t
}

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
