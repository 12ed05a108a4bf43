package profile_test

import (
	"encoding/binary"
	"errors"
	"math"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

func pack(v ...float64) []byte {
	var b []byte
	for _, x := range v {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	return b
}

// FuzzNewSweep takes arbitrary numbers as vertices, n, z and radius in turn, and
// sweeps what New takes round a rectangle. Refusals are typed; a path is unbroken
// and within its vertices; an area is that of L between its least and greatest.
func FuzzNewSweep(f *testing.F) {
	f.Add(pack(20, 0, 0, 0, 0, 3, 0, 20, 6, -25, 20, 5, -27, 60, 0), 0.0, 20.0)
	f.Add(pack(0, 0, 0, 0, 10, 10, -10, 10, 0), 1.0, 9.0)
	f.Add(pack(0, 0, 0, -150, 100, 0), 0.0, 50.0)
	f.Add(pack(0, 0, 0, 0, 10, 3, 0, 20, 0), 0.0, 20.0) // no turn
	f.Add(pack(0, 0, 0, 0, 10, 0, 0, 5, 0), 0.0, 5.0)   // back on itself
	f.Add(pack(0, 0, 0, math.NaN(), 10, 0), 0.0, 5.0)
	f.Add(pack(0, 0, 0, 30, 1e-3, 1e5, 60, 0, 0), 0.0, 1e-4)
	o := mustOutline(f)(outline.Rectangle(300, 200, 30))
	f.Fuzz(func(t *testing.T, data []byte, z0, z1 float64) {
		var vs []profile.Vertex
		for len(data) >= 24 && len(vs) < 40 {
			x := math.Float64frombits(binary.LittleEndian.Uint64(data))
			y := math.Float64frombits(binary.LittleEndian.Uint64(data[8:]))
			r := math.Float64frombits(binary.LittleEndian.Uint64(data[16:]))
			vs = append(vs, v(x, y, r, ""))
			data = data[24:]
		}
		p, err := profile.New(vs)
		if err != nil {
			var d *profile.DegenerateError
			var r *profile.RadiusTooLargeError
			switch {
			case errors.As(err, &d):
			case errors.As(err, &r):
				if !(r.Largest >= 0 && r.Largest < r.Radius) {
					t.Fatalf("%#v", r)
				}
			default:
				t.Fatalf("untyped %T", err)
			}
			return
		}
		segs := p.Segments()
		size := 0.0
		lo, hi := p.Bounds()
		for i, s := range segs {
			if i > 0 && s.From != segs[i-1].To {
				t.Fatalf("gap before segment %d of %v", i, vs)
			}
		}
		vlo, vhi := vs[0].At, vs[0].At
		for _, w := range vs {
			size = math.Max(size, math.Max(math.Abs(w.At.N), math.Abs(w.At.Z)))
			vlo = profile.Point{N: math.Min(vlo.N, w.At.N), Z: math.Min(vlo.Z, w.At.Z)}
			vhi = profile.Point{N: math.Max(vhi.N, w.At.N), Z: math.Max(vhi.Z, w.At.Z)}
		}
		if tol := 1e-8 * size; lo.N < vlo.N-tol || lo.Z < vlo.Z-tol || hi.N > vhi.N+tol || hi.Z > vhi.Z+tol {
			t.Fatalf("%v reaches %v to %v", vs, lo, hi)
		}
		area, err := profile.SweptArea(o, p)
		var c *outline.CollapseError
		if err != nil {
			if !errors.As(err, &c) || lo.N > -100+1e-6 {
				t.Fatalf("%v: %v", vs, err)
			}
			return
		}
		least, err1 := o.PerimeterAt(math.Max(lo.N, -100))
		most, err2 := o.PerimeterAt(hi.N)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		l := p.Length()
		if tol := 1e-6 * (area + l*size + 1); area < l*least-tol || area > l*most+tol || math.IsNaN(area) {
			t.Fatalf("%v: area %g, length %g, perimeters %g to %g", vs, area, l, least, most)
		}
		if volume, err := profile.EnclosedVolume(o, p); err != nil || math.IsNaN(volume) || math.IsInf(volume, 0) {
			t.Fatalf("%v: volume %g, %v", vs, volume, err)
		}
		clear, at, err := profile.LeastHorizontalClearance(p, p, z0, z1)
		var over *profile.OverhangError
		var rng *profile.RangeError
		switch {
		case errors.As(err, &over), errors.As(err, &rng):
		case err != nil:
			t.Fatalf("untyped %T", err)
		case clear != 0 || at < z0 || at > z1:
			t.Fatalf("%v is %g from itself at %g", vs, clear, at)
		}
	})
}
