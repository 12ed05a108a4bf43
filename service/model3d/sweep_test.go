package model3d

import (
	"math"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

// A pyramid on an outline whose corners go sharp and whose short edge vanishes on
// the way up: its volume is that of the outline's own law, integrated exactly.
func TestSweepPastSharpCornersAndAVanishingEdge(t *testing.T) {
	o, err := outline.New([]outline.Corner{
		{At: outline.Point{X: -100, Y: -80}, Radius: 10}, {At: outline.Point{X: 80, Y: -80}, Radius: 4},
		{At: outline.Point{X: 100, Y: -66}, Radius: 2}, {At: outline.Point{X: 100, Y: 80}, Radius: 25}, {At: outline.Point{X: -100, Y: 80}}})
	if err != nil {
		t.Fatal(err)
	}
	p, err := profile.New([]profile.Vertex{{At: profile.Point{}}, {At: profile.Point{N: -60, Z: 90}}})
	if err != nil {
		t.Fatal(err)
	}
	want, err := profile.EnclosedVolume(o, p)
	if err != nil {
		t.Fatal(err)
	}
	tip, err := o.Offset(-60)
	if err != nil {
		t.Fatal(err)
	}
	if len(tip.Corners()) != 4 {
		t.Fatalf("no edge vanished: %d corners", len(tip.Corners()))
	}
	for _, chord := range []float64{0.5, 0.05, 0.005} {
		m, err := sweep("pyramid", []leg{{o, p.Segments()}}, false, chord, inBoat)
		if err != nil {
			t.Fatal(err)
		}
		edges := map[[2]uint32]int{}
		for _, tri := range m.Triangles {
			for k := range 3 {
				edges[[2]uint32{tri[k], tri[(k+1)%3]}]++
			}
		}
		for e, n := range edges {
			if n != 1 || edges[[2]uint32{e[1], e[0]}] != 1 {
				t.Fatalf("edge %v: %d times, opposite %d", e, n, edges[[2]uint32{e[1], e[0]}])
			}
		}
		// The wall's plan perimeter is under 700 mm over a slant of 108 mm.
		if off := math.Abs(m.Volume() - want); off > chord*700*108 {
			t.Errorf("at %g mm: %g mm3, want %g", chord, m.Volume(), want)
		}
	}
	// Without the round corners the mesh is exact.
	sharp := o.Corners()
	for i := range sharp {
		sharp[i].Radius = 0
	}
	if o, err = outline.New(sharp); err != nil {
		t.Fatal(err)
	}
	if want, err = profile.EnclosedVolume(o, p); err != nil {
		t.Fatal(err)
	}
	m, err := sweep("sharp pyramid", []leg{{o, p.Segments()}}, false, 1, inBoat)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(m.Volume()-want) > 1e-9*want {
		t.Errorf("sharp: %.9g mm3, want %.9g", m.Volume(), want)
	}
}
