package tooling

import (
	"strings"
	"testing"

	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/shop"
)

// TestEveryWallIsMolded: every wall of every pattern's section has a board in its mold,
// and every edge that is rounded is one of a board's.
func TestEveryWallIsMolded(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	for _, p := range part.Patterns {
		t.Run(string(p), func(t *testing.T) {
			c := hatchOf(d, p, 620, 480, 90)
			g := stand(t, &c)
			if err := unmolded(g.ReceiverProfile); err != nil {
				t.Fatal(err)
			}
			w, err := Build(&c, g, d, s, crib)
			if err != nil {
				t.Fatal(err)
			}
			for i := range walls {
				if sheets := len(w.Mold(part.Receiver).Layer(walls[i].board).Stack.Sheets); c.HasLeg(walls[i].leg) != (sheets > 0) {
					t.Errorf("%s: %d sheets of the board that molds it", part.LegName(walls[i].leg), sheets)
				}
			}
			for i := range w.Molds {
				for j := range w.Molds[i].RoundOvers {
					r := &w.Molds[i].RoundOvers[j]
					if l, edge, wall := w.Molds[i].edgeOf(r, &c); l.Board == 0 || edge == nil || wall <= 0 {
						t.Errorf("no board's edge is rounded at %s, corner %d", r.At, r.Corner)
					}
				}
			}
		})
	}
}

// TestUnmoldedWallIsNamed: a section with a wall that no board molds is refused.
func TestUnmoldedWallIsNamed(t *testing.T) {
	p, err := profile.New([]profile.Vertex{{At: profile.Point{N: 50}}, {Leg: part.Flange}, {At: profile.Point{Z: 30}, Leg: part.GutterFloor}})
	if err != nil {
		t.Fatal(err)
	}
	if err := unmolded(p); err == nil || !strings.Contains(err.Error(), part.LegName(part.GutterFloor)) {
		t.Errorf("%v, want an error that names the leg", err)
	}
}
