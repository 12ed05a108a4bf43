package tooling

import (
	"math"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// FuzzRouterPlan plans with any bits that a profile may hold: it never panics, every
// template lies within tolerance of its place, every edge is its step's offset.
func FuzzRouterPlan(f *testing.F) {
	// The check values; the example's; a bearing wider than its cutter, one of
	// nothing; a bit as wide as the hatch.
	f.Add(6.35, 34.925, 9.525, 15.875, 12.0, 1.0, 12.7, 3.175, 9.525)
	f.Add(6.0, 35.0, 9.0, 16.0, 12.0, 1.0, 32.0, 3.5, 60.0)
	f.Add(12.0, 20.0, 25.0, 0.0, 16.0, 2.0, 28.0, 3.0, 40.0)
	f.Add(400.0, 35.0, 29.0, 28.0, 19.0, 3.0, 45.0, 3.2, 0.0)
	f.Fuzz(func(t *testing.T, trim, cutter, bearing1, bearing2, taper, draft, ledge, gap, radius float64) {
		for _, x := range []float64{trim, cutter, bearing1, bearing2, taper, draft, ledge, gap, radius} {
			if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 || x > 500 {
				t.Skip("not a figure of a profile")
			}
		}
		if trim == 0 || cutter == 0 || taper == 0 || draft > 30 || ledge > 90 || gap > 20 {
			t.Skip("refused before")
		}
		sheet := shop.Sheet{Key: "board", Thickness: 19, Length: 2440, Width: 1220, Density: 750}
		c := NewCrib(&shop.Profile{Sheets: []shop.Sheet{sheet}, Crib: []shop.Bit{
			{Key: "trim", Kind: shop.FlushTrim, Diameter: trim, CuttingLength: 25},
			{Key: "rabbet", Kind: shop.Rabbet, Diameter: cutter, Bearings: []float64{bearing1, bearing2}, CuttingLength: 13},
			{Key: "taper", Kind: shop.Tapered, Diameter: taper, Draft: draft, CuttingLength: 38},
		}})
		o, err := outline.Rectangle(400, 300, radius)
		if err != nil {
			t.Skip("no outline")
		}
		trunk, err := o.Offset(-ledge)
		if err != nil {
			t.Skip("no trunk")
		}
		lid, err := o.Offset(-gap)
		if err != nil {
			t.Skip("no lid")
		}
		stack := Stack{Thickness: 38, Sheets: []shop.Sheet{sheet, sheet}}
		needs := []need{
			{name: "recess", part: part.Receiver, board: RecessBlock, outline: o, tolerance: 0.05},
			{name: "trunk", part: part.Receiver, board: TrunkBlock, outline: trunk, tolerance: 0.25},
			{name: "lid", part: part.Lid, board: CavityBoard, hole: true, outline: lid, tolerance: 0.05},
		}
		c.block(&needs[0], 0, draft, stack)
		c.block(&needs[1], ledge, draft, stack)
		c.hole(&needs[2], gap, draft, stack)
		p, err := c.routerPlan(needs, c.plan(needs))
		if err != nil {
			t.Fatal(err)
		}
		boards := 0
		for _, s := range p.Steps {
			if math.Abs(s.Miss) > 0.25+sameSize {
				t.Fatalf("%s misses its place by %v", s.To, s.Miss)
			}
			if s.Operation == Copy || s.Operation == FollowOutside {
				boards++
			}
			if s.FromOutline == nil {
				continue
			}
			want, err := s.FromOutline.Offset(s.Offset)
			if err != nil {
				t.Fatalf("%s: %v", s.To, err)
			}
			if math.Abs(want.Perimeter()-s.ToOutline.Perimeter()) > 1e-9*(1+want.Perimeter()) {
				t.Fatalf("%s is no offset of %s by %v", s.To, s.From, s.Offset)
			}
		}
		if boards < 3 {
			t.Fatalf("%d boards cut, wanted 3", boards)
		}
	})
}
