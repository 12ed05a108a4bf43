package tooling

import (
	"math"
	"strings"
	"testing"

	"hatchwright/service/nest"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"

	"pgregory.net/rapid"
)

// drawn builds the workshop of a random hatch, and skips those that do not stand.
func drawn(t *rapid.T, d shop.Documents, s *Stacker, crib *Crib, asked func(*part.Configuration)) (part.Configuration, part.Geometry, Workshop) {
	pattern := rapid.SampledFrom(part.Patterns).Draw(t, "pattern")
	c := hatchOf(d, pattern,
		rapid.Float64Range(300, 1400).Draw(t, "length"), rapid.Float64Range(300, 1400).Draw(t, "width"), rapid.SampledFrom([]float64{0, 5, 12, 40, 60, 95, 120}).Draw(t, "radius"))
	draft := func(name string) float64 { return rapid.SampledFrom([]float64{0, 0, 1, 1.5, 2, 3}).Draw(t, name) }
	c.Receiver.Draft, c.Receiver.TrunkDraft, c.Lid.Draft = draft("draft"), draft("trunk draft"), draft("lid draft")
	c.Lid.Gap = rapid.SampledFrom([]float64{2.5, 3, 3.2, 3.5, 4, 5}).Draw(t, "gap")
	c.Receiver.LedgeWidth = rapid.Float64Range(28, 45).Draw(t, "ledge")
	c.Seal.Thickness = 9
	if asked != nil {
		asked(&c)
	}
	g, _ := part.Resolve(&c, laid, limits)
	if g.Stage != part.StageWhole || g.Measure(&c) != nil {
		t.Skip("the hatch does not stand")
	}
	w, err := Build(&c, g, d, s, crib)
	if err != nil {
		t.Fatalf("%v", err)
	}
	return c, g, w
}

// TestStepsAreOffsets: every edge that comes out of a step is the offset of the
// edge before it, to 1e-9; every step starts from a template that an earlier step
// made; every mold's outline is cut, and to its place.
func TestStepsAreOffsets(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	rapid.Check(t, func(t *rapid.T) {
		_, _, w := drawn(t, d, s, crib, nil)
		made := map[string]*outline.Outline{}
		for i, step := range w.Steps {
			if step.Order != i+1 {
				t.Fatalf("step %d has order %d", i, step.Order)
			}
			if step.Operation == LayOut {
				if step.From != "" || !step.ByHand {
					t.Fatalf("a master is laid out from %q, by hand %v", step.From, step.ByHand)
				}
			} else {
				from := made[step.From]
				if from == nil {
					t.Fatalf("step %d starts from %q, which no step made", step.Order, step.From)
				}
				want, err := step.FromOutline.Offset(step.Offset)
				if err != nil {
					t.Fatalf("step %d: %v", step.Order, err)
				}
				apart(t, step.To, want, *step.ToOutline, 1e-9)
				if step.Operation != RoundEdge {
					apart(t, step.From, *from, *step.FromOutline, 1e-9)
				}
			}
			if step.Bit == "" && !step.ByHand {
				t.Fatalf("step %d has no bit and is not by hand", step.Order)
			}
			if step.Operation != RoundEdge {
				made[step.To] = step.ToOutline
			}
		}
		for _, m := range w.Molds {
			for _, l := range m.Layers {
				if l.Outline == nil {
					continue
				}
				place := l.Outline
				if l.Inside != nil { // a ring's outside is cut with block 1
					place = l.Inside
				}
				cut := made[l.Board.Label(m.Part)]
				if cut == nil {
					t.Fatalf("the %s mold's %s is never cut", m.Part, l.Board)
				}
				if m.Part == part.Receiver && l.Board.IsHole() {
					continue // drawn at the deck, cut at the coaming's top
				}
				apart(t, l.Board.Label(m.Part), *place, *cut, crib.practice.TrunkTolerance+1e-6)
			}
		}
		for _, step := range w.Steps {
			if (step.Operation == Copy || step.Operation == FollowOutside) && math.Abs(step.Miss) > crib.practice.TrunkTolerance+sameSize {
				t.Fatalf("%s misses its place by %v", step.To, step.Miss)
			}
			if strings.HasPrefix(step.To, "lid") && math.Abs(step.Miss) > crib.practice.SizeTolerance+sameSize {
				t.Fatalf("the lid's cavity misses its place by %v", step.Miss)
			}
		}
	})
}

// TestErrorsAddUp sums every edge's error anew: a master's layout; 0.1 for each pass
// and half of the bit's 0.05; rabbet and trim are two passes; where a wall leans,
// each depth after the first steps out by 5 mm of bearing; what the crib misses.
func TestErrorsAddUp(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	rapid.Check(t, func(t *rapid.T) {
		_, _, w := drawn(t, d, s, crib, nil)
		errors := map[string]float64{}
		for _, step := range w.Steps {
			want := errors[step.From]
			draft := 0.0
			for _, b := range d.Profile.Crib {
				if b.Key == step.Bit {
					draft = b.Draft
				}
			}
			switch step.Operation {
			case LayOut:
				want = 0.3
			case RabbetAndTrim:
				want += 2 * 0.125
			case Copy, FollowOutside:
				want += float64(step.Passes)*0.125 + float64(step.Passes-1)*5*math.Tan(draft*math.Pi/180) + math.Abs(step.Miss)
			case RoundEdge:
				continue
			}
			if math.Abs(step.AccumulatedError-want) > 1e-9 {
				t.Fatalf("%s of %s: ±%v, wanted ±%v", step.Operation, step.To, step.AccumulatedError, want)
			}
			errors[step.To] = want
		}
		for _, k := range w.Templates {
			if math.Abs(k.Error-errors[k.Name]) > 1e-9 {
				t.Fatalf("%s: ±%v, its step ±%v", k.Name, k.Error, errors[k.Name])
			}
		}
	})
}

// apart fails when two outlines of the same family lie further apart than tol.
func apart(t *rapid.T, what string, a, b outline.Outline, tol float64) {
	ca, cb := a.Corners(), b.Corners()
	if len(ca) != len(cb) {
		t.Fatalf("%s: %d corners, wanted %d", what, len(cb), len(ca))
	}
	for _, seg := range b.Segments() {
		middle, _ := seg.At(0.5)
		for _, p := range [...]outline.Point{seg.From, middle} {
			if off := math.Abs(a.Distance(p)); off > tol {
				t.Fatalf("%s lies %v off its place", what, off)
			}
		}
	}
}

// TestCornersOfHoles: a bit that follows the outside of a template leaves corners
// as round as it is wide or rounder; one that copies a hole turns in its corners.
func TestCornersOfHoles(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	rapid.Check(t, func(t *rapid.T) {
		_, _, w := drawn(t, d, s, crib, nil)
		for _, step := range w.Steps {
			r := step.ToOutline.MinCornerRadius()
			inside := false
			for _, k := range w.Templates {
				inside = inside || k.Name == step.From && k.Hole
			}
			switch {
			case step.Operation == FollowOutside && r < step.Bearing-1e-9:
				t.Fatalf("%s comes out with corners of %v from a bit of %v", step.To, r, step.Bearing)
			case step.Operation == FollowOutside && math.Abs(step.Pilot-step.Bearing) > 0:
				t.Fatalf("%s: pilot hole of %v for a bit of %v", step.To, step.Pilot, step.Bearing)
			case step.Operation == Copy && inside && !step.ByHand && r < step.Bearing/2-1e-9:
				t.Fatalf("a bit of %v does not turn in the corners of %v of %s", step.Bearing, r, step.From)
			}
		}
	})
}

// TestScrewsInsideBlocks: every screw is its distance from the edge on the sheet's
// upper face, spaced evenly, at most the shop's pitch apart, four or more to a
// sheet; lengths by hand; positions are those of outline.At.
func TestScrewsInsideBlocks(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	rapid.Check(t, func(t *rapid.T) {
		c, _, w := drawn(t, d, s, crib, nil)
		k := 0
		for i := range w.Molds {
			m := &w.Molds[i]
			for j := 1; j < len(m.Layers); j++ {
				l := &m.Layers[j]
				height := 0.0
				for n, sheet := range l.Stack.Sheets {
					x := w.Screws[k]
					k++
					height += sheet.Thickness
					lean := math.Tan(wallDraft(&c, m, l) * math.Pi / 180)
					if x.Part != m.Part || x.Board != l.Board || x.Sheet != n+1 {
						t.Fatalf("screws of %s %s sheet %d out of order", x.Part, x.Board, x.Sheet)
					}
					if len(x.Positions) < 4 || x.Pitch > crib.practice.ScrewPitch+1e-9 {
						t.Fatalf("%d screws, %v apart", len(x.Positions), x.Pitch)
					}
					below := m.Layers[0].Stack.Sheets
					switch {
					case n > 0:
						below = l.Stack.Sheets[:n]
					case j > 1 && m.Kind == Plug:
						below = m.Layers[j-1].Stack.Sheets
					}
					if want := sheet.Thickness + below[len(below)-1].Thickness*2/3; math.Abs(x.Length-want) > 1e-9 {
						t.Fatalf("%s %s: a screw of %v, wanted %v", x.Part, x.Board, x.Length, want)
					}
					for q, p := range x.Positions {
						inside := -l.Outline.Distance(p)
						if l.Board.IsHole() {
							inside = -inside
						}
						if inside < x.Edge+height*lean-1e-6 {
							t.Fatalf("%s %s: a screw %v from the edge, wanted %v", x.Part, x.Board, inside, x.Edge+height*lean)
						}
						if l.Inside != nil && l.Inside.Distance(p) < x.Edge-1e-6 {
							t.Fatalf("%s: a screw %v from the ring's inside", x.Board, l.Inside.Distance(p))
						}
						at, _ := x.Line.At((float64(q) + 0.25 + float64(n%2)/2) * x.Pitch)
						if math.Hypot(at.X-p.X, at.Y-p.Y) > 1e-6 {
							t.Fatalf("screw %d stands at %v, the line is at %v", q, p, at)
						}
						if l.Board.IsHole() && (math.Abs(p.X) > 5*l.Length || !within(p, l)) {
							t.Fatalf("%s %s: a screw at %v outside the board", x.Part, x.Board, p)
						}
					}
				}
			}
		}
		if k != len(w.Screws) {
			t.Fatalf("%d rows of screws, %d sheets", len(w.Screws), k)
		}
	})
}

// within tells whether p is on the board that a hole is cut in.
func within(p outline.Point, l *Layer) bool {
	low, high := l.Outline.Bounds()
	cx, cy := (low.X+high.X)/2, (low.Y+high.Y)/2
	return math.Abs(p.X-cx) < l.Length/2 && math.Abs(p.Y-cy) < l.Width/2
}

// TestCutListNests: the layouts pass nest's own verifier, which shares nothing with
// the search; every board of every mold and every template is in them.
func TestCutListNests(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	rules := nest.Rules{Kerf: d.Profile.Tooling.Kerf, Trim: d.Profile.Tooling.SheetTrim}
	rapid.Check(t, func(t *rapid.T) {
		_, _, w := drawn(t, d, s, crib, nil)
		stocks := map[string]bool{}
		for _, p := range w.Panels {
			stocks[p.Stock] = true
		}
		bound := 0
		area := 0.0
		for key := range stocks {
			var panels []nest.Panel
			for _, p := range w.Panels {
				if p.Stock == key {
					panels = append(panels, nest.Panel{Name: p.Name, Length: p.Length, Width: p.Width, Quantity: p.Quantity, Turn: true})
					area += p.Length * p.Width * float64(p.Quantity)
				}
			}
			var plan nest.Plan
			for _, l := range w.Sheets {
				if l.Stock == key {
					plan.Layouts = append(plan.Layouts, l.Layout)
				}
			}
			plan.Status = nest.BudgetReached // the bound is that of all stocks together
			if err := nest.Verify(plan, panels, rules); err != nil {
				t.Fatalf("%s: %v", key, err)
			}
			bound++
		}
		if w.SheetBound < bound || w.SheetBound > len(w.Sheets) || w.Status == nest.Optimal != (w.SheetBound == len(w.Sheets)) {
			t.Fatalf("%d sheets, bound %d, %v", len(w.Sheets), w.SheetBound, w.Status)
		}
		boards := 0.0
		for _, m := range w.Molds {
			for _, l := range m.Layers {
				length, width := l.Length, l.Width
				if m.Kind == Plug && l.Outline != nil || l.Board == TrunkBlock { // sawn outside the line
					length, width = l.Outline.Length()+30, l.Outline.Width()+30
				}
				boards += length * width * float64(len(l.Stack.Sheets))
			}
		}
		for _, k := range w.Templates {
			margin := 30.0
			if k.Hole {
				margin = 150
			}
			boards += (k.Outline.Length() + margin) * (k.Outline.Width() + margin)
		}
		if math.Abs(area-boards) > 1e-6*boards {
			t.Fatalf("panels of %v mm2 for boards of %v", area, boards)
		}
		if w.LeastCuts > w.Cuts || w.Optimal != (w.LeastCuts == w.Cuts) {
			t.Fatalf("%d cuts, bound %d, optimal %v", w.Cuts, w.LeastCuts, w.Optimal)
		}
	})
}

// TestLargerMolds: molds made larger by what the laminate shrinks come out as
// scaled outlines, and the gap's shift goes.
func TestLargerMolds(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	scaled := *crib
	scaled.practice.ScaleMolds = true
	c := hatchOf(d, part.FlushLedge, 620, 480, 90)
	g := stand(t, &c)
	a, err := Build(&c, g, d, s, crib)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Build(&c, g, d, s, &scaled)
	if err != nil {
		t.Fatal(err)
	}
	e := 0.003 // of the example's polyester
	if got, want := b.Templates[0].Outline.Length(), 620/(1-e); math.Abs(got-want) > 1e-9 {
		t.Errorf("recess template %v long, wanted %v", got, want)
	}
	if want := -3.5 * e; math.Abs(a.Tolerance.Shift-want) > 1e-12 {
		t.Errorf("unscaled molds shift the gap by %v, wanted %v", a.Tolerance.Shift, want)
	}
	// Scaled: what is left is the crib's nearest offset, 9.5 for 6 + 3.5/(1-e).
	if want := 9.5 - (6 + 3.5/(1-e)); math.Abs(b.Tolerance.Shift-want) > 1e-9 {
		t.Errorf("scaled molds shift the gap by %v, wanted %v", b.Tolerance.Shift, want)
	}
}
