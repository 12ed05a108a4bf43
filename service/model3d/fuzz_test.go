package model3d

import (
	"math"
	"testing"

	"hatchwright/service/profile"
)

// A parallel curve is refused or lies at its distance all along; it never panics.
func FuzzThicken(f *testing.F) {
	f.Add(50.0, 9.5, 22.0, 6.0, 32.0, 6.0, 40.0, -2.6)
	f.Add(50.0, 0.0, 22.0, 0.0, 32.0, 0.0, 40.0, 3.0)
	f.Add(5.0, 2.0, 4.0, 1.0, 3.0, 1.0, 6.0, -8.0)
	f.Add(1e9, 0.0, 1e-9, 0.0, 1.0, 0.0, 1.0, math.Inf(1))
	f.Fuzz(func(t *testing.T, flange, edge, deep, root, ledge, lip, trunk, thick float64) {
		p, err := profile.New([]profile.Vertex{
			{At: profile.Point{N: flange}}, {At: profile.Point{}, Radius: edge}, {At: profile.Point{Z: deep}, Radius: root},
			{At: profile.Point{N: -ledge, Z: deep}, Radius: lip}, {At: profile.Point{N: -ledge, Z: deep + trunk}}})
		if err != nil {
			return
		}
		q, err := Thicken(p, thick)
		if err != nil {
			return
		}
		// The legs' lines are parallel at the distance: measured at each leg's start.
		a, b := p.Vertices(), q.Vertices()
		size := math.Max(math.Max(math.Abs(flange), math.Abs(deep)), math.Max(math.Abs(ledge), math.Max(math.Abs(trunk), math.Abs(thick))))
		for i := 0; i+1 < len(a); i++ {
			dn, dz := a[i+1].At.N-a[i].At.N, a[i+1].At.Z-a[i].At.Z
			l := math.Hypot(dn, dz)
			off := ((b[i].At.Z-a[i].At.Z)*dn - (b[i].At.N-a[i].At.N)*dz) / l
			if !(math.Abs(off-thick) <= 1e-9*size) {
				t.Errorf("leg %d is %g off, want %g", i, off, thick)
			}
		}
	})
}
