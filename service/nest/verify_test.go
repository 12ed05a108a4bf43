package nest_test

import (
	"errors"
	"strings"
	"testing"

	"hatchwright/service/nest"
)

// byHand makes a plan of one layout, its utilization filled in.
func byHand(s nest.Sheet, placed ...nest.Placement) nest.Plan {
	area := 0.0
	for _, p := range placed {
		area += p.Length * p.Width
	}
	return nest.Plan{
		Layouts: []nest.Layout{{Sheet: s, Placements: placed, Utilization: area / (s.Length * s.Width)}},
		Bound:   1, Status: nest.Optimal,
	}
}

// pinwheel is four panels round a hole, the standard example of a layout that
// no cut from edge to edge can begin (common knowledge, no source):
//
//	+----------+----+
//	|   c      |    |
//	+----+-----+ b  |
//	|    |hole |    |
//	| d  +-----+----+
//	|    |    a     |
//	+----+----------+
func pinwheel(kerf float64) ([]nest.Panel, nest.Plan) {
	l, w := 60.0, 40.0
	side := l + w + kerf
	panels := []nest.Panel{{Name: "vane", Length: l, Width: w, Quantity: 4, Turn: true}}
	at := func(x, y float64, turned bool) nest.Placement {
		p := nest.Placement{Panel: "vane", X: x, Y: y, Length: l, Width: w, Turned: turned}
		if turned {
			p.Length, p.Width = w, l
		}
		return p
	}
	return panels, byHand(nest.Sheet{Name: "s", Length: side, Width: side},
		at(w+kerf, 0, false), at(l+kerf, w+kerf, true), at(0, l+kerf, false), at(0, 0, true))
}

func TestVerifyRefusesThePinwheel(t *testing.T) {
	for _, kerf := range []float64{0, 3.2} {
		panels, plan := pinwheel(kerf)
		wantRefused(t, nest.Verify(plan, panels, nest.Rules{Kerf: kerf}), "parted")
		// any three vanes can be parted
		panels[0].Quantity = 3
		three := byHand(plan.Layouts[0].Sheet, plan.Layouts[0].Placements[:3]...)
		if err := nest.Verify(three, panels, nest.Rules{Kerf: kerf}); err != nil {
			t.Errorf("kerf %v, three vanes: %v", kerf, err)
		}
	}
}

func wantRefused(t *testing.T, err error, word string) {
	t.Helper()
	var bad *nest.LayoutError
	if !errors.As(err, &bad) || !strings.Contains(bad.Error(), word) {
		t.Errorf("got %v, want a layout error about %q", err, word)
	}
}

func TestVerifyRefuses(t *testing.T) {
	sheet := nest.Sheet{Name: "s", Length: 1000, Width: 500}
	rules := nest.Rules{Kerf: 4, Trim: 10}
	panels := []nest.Panel{
		{Name: "a", Length: 300, Width: 200, Quantity: 1},
		{Name: "b", Length: 400, Width: 100, Quantity: 1, Turn: true},
	}
	good := func() nest.Plan {
		return byHand(sheet,
			nest.Placement{Panel: "a", Index: 0, X: 10, Y: 10, Length: 300, Width: 200},
			nest.Placement{Panel: "b", Index: 1, X: 314, Y: 10, Length: 100, Width: 400, Turned: true})
	}
	if err := nest.Verify(good(), panels, rules); err != nil {
		t.Fatalf("a good plan: %v", err)
	}
	for _, c := range []struct {
		name, word string
		spoil      func(*nest.Plan)
	}{
		{"overlap", "kerf", func(p *nest.Plan) { p.Layouts[0].Placements[1].X = 250 }},
		{"same place", "kerf", func(p *nest.Plan) { p.Layouts[0].Placements[1].X = 10 }},
		{"kerf too narrow", "kerf", func(p *nest.Plan) { p.Layouts[0].Placements[1].X = 313.9 }},
		{"in the trim", "edge", func(p *nest.Plan) { p.Layouts[0].Placements[0].Y = 9 }},
		{"over the far edge", "edge", func(p *nest.Plan) { p.Layouts[0].Placements[1].X = 891 }},
		{"not a number", "edge", func(p *nest.Plan) { p.Layouts[0].Placements[1].X = nan }},
		{"wrong size", "should be", func(p *nest.Plan) { p.Layouts[0].Placements[0].Length = 299 }},
		{"turned against the grain", "turned", func(p *nest.Plan) {
			q := &p.Layouts[0].Placements[0]
			q.Turned, q.Length, q.Width = true, q.Width, q.Length
		}},
		{"missing", "not placed", func(p *nest.Plan) { *p = byHand(sheet, p.Layouts[0].Placements[0]) }},
		{"twice", "2 times", func(p *nest.Plan) {
			q := p.Layouts[0].Placements[0]
			q.Y = 214
			*p = byHand(sheet, append(p.Layouts[0].Placements, q)...)
		}},
		{"stranger", "not panel", func(p *nest.Plan) { p.Layouts[0].Placements[0].Panel = "c" }},
		{"index out of range", "not panel", func(p *nest.Plan) { p.Layouts[0].Placements[0].Index = 7 }},
		{"missing panel never wanted", "never asked", func(p *nest.Plan) { p.Unplaced = []nest.Panel{{Name: "z", Quantity: 1}} }},
		{"said to be missing", "said to be missing", func(p *nest.Plan) { p.Unplaced = []nest.Panel{{Name: "a", Quantity: 1}} }},
		{"utilization", "utilization", func(p *nest.Plan) { p.Layouts[0].Utilization += 0.01 }},
		{"offcut not free", "kerf", func(p *nest.Plan) { p.Layouts[0].Offcut = nest.Offcut{X: 400, Y: 10, Length: 50, Width: 50} }},
		{"offcut over the edge", "offcut", func(p *nest.Plan) { p.Layouts[0].Offcut = nest.Offcut{X: 500, Y: 10, Length: 491, Width: 50} }},
		{"below the bound", "fewer", func(p *nest.Plan) { p.Bound = 2 }},
		{"below the area", "area", func(p *nest.Plan) { p.AreaBound = 1.2 }},
		{"optimal above the bound", "optimal", func(p *nest.Plan) { p.Bound = 0 }},
		{"infeasible though complete", "infeasible", func(p *nest.Plan) { p.Status = nest.Infeasible }},
	} {
		t.Run(c.name, func(t *testing.T) {
			plan := good()
			c.spoil(&plan)
			wantRefused(t, nest.Verify(plan, panels, rules), c.word)
		})
	}
}

// TestVerifyCountsTheOffcutAmongTheParts: an offcut in the middle of the
// pinwheel of three keeps the vanes from being parted.
func TestVerifyCountsTheOffcutAmongTheParts(t *testing.T) {
	panels, plan := pinwheel(0)
	panels[0].Quantity = 3
	three := byHand(plan.Layouts[0].Sheet, plan.Layouts[0].Placements[:3]...)
	three.Layouts[0].Offcut = nest.Offcut{X: 0, Y: 0, Length: 40, Width: 60}
	wantRefused(t, nest.Verify(three, panels, nest.Rules{}), "parted")
	three.Layouts[0].Offcut = nest.Offcut{X: 0, Y: 0, Length: 40, Width: 40}
	if err := nest.Verify(three, panels, nest.Rules{}); err != nil {
		t.Error(err)
	}
}
