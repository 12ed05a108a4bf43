package profile_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand"
	"sort"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

// randomOutline returns a convex polygon on an ellipse, with radii.
func randomOutline(t testing.TB, rng *rand.Rand) outline.Outline {
	t.Helper()
	n := 3 + rng.Intn(8)
	angles, total := make([]float64, n), 0.0
	for i := range angles {
		angles[i] = total
		total += 0.1 + rng.Float64()
	}
	a, b := 100+900*rng.Float64(), 100+900*rng.Float64()
	cs := make([]outline.Corner, n)
	for i := range cs {
		s, c := math.Sincos(angles[i] * 2 * math.Pi / total)
		cs[i].At = outline.Point{X: a * c, Y: b * s}
	}
	part := []float64{0, 0.2, 0.9}[rng.Intn(3)]
	for i := range cs {
		cs[i].Radius = 1e8
		_, err := outline.New(cs)
		var large *outline.RadiusTooLargeError
		if !errors.As(err, &large) {
			t.Fatal(err)
		}
		cs[i].Radius = large.Largest * part * rng.Float64()
	}
	return mustOutline(t)(outline.New(cs))
}

// randomProfile returns a path whose vertices lie within low to high.
func randomProfile(t testing.TB, rng *rand.Rand, low, high float64) profile.Profile {
	t.Helper()
	for {
		n := 2 + rng.Intn(6)
		vs := make([]profile.Vertex, n)
		for i := range vs {
			vs[i] = v(low+(high-low)*rng.Float64(), 120*rng.Float64(), 0, fmt.Sprint(i))
			if i > 0 && rng.Intn(4) == 0 { // upright or level
				if rng.Intn(2) == 0 {
					vs[i].At.N = vs[i-1].At.N
				} else {
					vs[i].At.Z = vs[i-1].At.Z
				}
			}
		}
		if _, err := profile.New(vs); err != nil {
			continue
		}
		for i := 1; i < n-1; i++ {
			if rng.Intn(3) == 0 {
				continue
			}
			vs[i].Radius = 1e8
			_, err := profile.New(vs)
			var large *profile.RadiusTooLargeError
			vs[i].Radius = 0
			if errors.As(err, &large) && large.Vertex == i {
				vs[i].Radius = large.Largest * rng.Float64()
			}
		}
		p, err := profile.New(vs)
		if err != nil {
			t.Fatalf("%v: %v", vs, err)
		}
		return p
	}
}

// Swept areas and volumes of random pairs against Gauss-Legendre quadrature
// (gonum) of the outline's own offsets: at every node the outline is really
// offset and measured, which is another way than the law the closed forms use.
// Segments are cut where L has a corner, since no quadrature converges there.
func TestAgainstQuadrature(t *testing.T) {
	rng := rand.New(rand.NewSource(7))
	pairs, sharp := 0, 0
	worstArea, worstVolume := 0.0, 0.0
	wanted := 1200
	if testing.Short() {
		wanted = 120
	}
	for pairs < wanted {
		o := randomOutline(t, rng)
		low := -o.MaxInset() * 0.98 * rng.Float64()
		p := randomProfile(t, rng, low, 60*rng.Float64())
		area, err := profile.SweptArea(o, p)
		if err != nil {
			t.Fatal(err)
		}
		volume, err := profile.EnclosedVolume(o, p)
		if err != nil {
			t.Fatal(err)
		}
		breaks := o.Breaks()
		wantArea, wantVolume, scale := 0.0, 0.0, 0.0
		crossed := false
		for _, s := range p.Segments() {
			cuts := []float64{0, 1}
			for _, b := range breaks {
				cuts = append(cuts, crossings(s, -b)...)
			}
			crossed = crossed || len(cuts) > 2
			sort.Float64s(cuts)
			l := s.Length()
			for i := 0; i+1 < len(cuts); i++ {
				measure := func(x float64) outline.Outline {
					return mustOutline(t)(o.Offset(s.At(x).N))
				}
				wantArea += quad.Fixed(func(x float64) float64 { return l * measure(x).Perimeter() }, cuts[i], cuts[i+1], 12, nil, 0)
				part := quad.Fixed(func(x float64) float64 { return measure(x).Area() * slopeZ(s, x) }, cuts[i], cuts[i+1], 12, nil, 0)
				wantVolume += part
				scale += math.Abs(part)
			}
		}
		pairs++
		if crossed {
			sharp++
		}
		ea := math.Abs(area-wantArea) / wantArea
		// Signed parts of a volume may cancel; rounding goes with their sizes.
		ev := math.Abs(volume-wantVolume) / math.Max(scale, 1)
		worstArea, worstVolume = math.Max(worstArea, ea), math.Max(worstVolume, ev)
		if ea > 1e-9 || ev > 1e-9 {
			t.Errorf("%v swept along %v: area %.12g, by quadrature %.12g; volume %.12g, %.12g", o, p.Vertices(), area, wantArea, volume, wantVolume)
		}
	}
	t.Logf("%d pairs, %d across a break; worst area %.2g, volume %.2g", pairs, sharp, worstArea, worstVolume)
	if sharp < wanted/4 {
		t.Errorf("%d pairs cross a break, want %d of %d at least", sharp, wanted/4, wanted)
	}
}

// slopeZ returns dz/dt.
func slopeZ(s profile.Segment, x float64) float64 {
	if s.Kind == profile.Line {
		return s.To.Z - s.From.Z
	}
	return s.Radius * s.Sweep * math.Cos(s.Start+s.Sweep*x)
}

// crossings finds, by bisection on a grid, where the segment's offset is n.
func crossings(s profile.Segment, n float64) []float64 {
	const grid = 64
	f := func(x float64) float64 { return s.At(x).N - n }
	var at []float64
	for i := 0; i < grid; i++ {
		a, b := float64(i)/grid, float64(i+1)/grid
		if f(a)*f(b) >= 0 {
			continue
		}
		for k := 0; k < 60; k++ {
			if m := (a + b) / 2; f(a)*f(m) <= 0 {
				b = m
			} else {
				a = m
			}
		}
		at = append(at, (a+b)/2)
	}
	return at
}

// The volume of a solid with the swept surface as its wall, by the signed volume
// of a triangle mesh of sampled rings (divergence theorem), against the closed
// form. The mesh joins an outline sampled at equal arcs, offset ring by ring.
func TestAgainstMesh(t *testing.T) {
	// Radii stay positive throughout, so that every ring has the same corners.
	o := mustOutline(t)(outline.New([]outline.Corner{
		{At: outline.Point{X: -200, Y: -100}, Radius: 60}, {At: outline.Point{X: 220, Y: -120}, Radius: 50},
		{At: outline.Point{X: 150, Y: 160}, Radius: 80}, {At: outline.Point{X: -180, Y: 140}, Radius: 55}}))
	p := mustProfile(t, v(25, 0, 0, ""), v(0, 0, 6, "edge"), v(-1, 30, 8, "root"), v(-25, 30, 5, "lip"), v(-27, 80, 0, ""))
	const steps = 200 // to a corner arc
	var rings [][][3]float64
	for _, q := range p.Sample(1e-5) {
		ring := mustOutline(t)(o.Offset(q.N))
		var pts [][3]float64
		for _, g := range ring.Segments() {
			n := 1
			if g.Kind == outline.Arc {
				n = steps
			}
			for k := 0; k < n; k++ {
				w, _ := g.At(float64(k) / float64(n))
				pts = append(pts, [3]float64{w.X, w.Y, q.Z})
			}
		}
		rings = append(rings, pts)
	}
	det := func(a, b, c [3]float64) float64 {
		return a[0]*(b[1]*c[2]-b[2]*c[1]) + a[1]*(b[2]*c[0]-b[0]*c[2]) + a[2]*(b[0]*c[1]-b[1]*c[0])
	}
	volume, area := 0.0, 0.0
	tri := func(a, b, c [3]float64) {
		volume += det(a, b, c) / 6
		u := [3]float64{b[0] - a[0], b[1] - a[1], b[2] - a[2]}
		w := [3]float64{c[0] - a[0], c[1] - a[1], c[2] - a[2]}
		area += math.Hypot(math.Hypot(u[1]*w[2]-u[2]*w[1], u[2]*w[0]-u[0]*w[2]), u[0]*w[1]-u[1]*w[0]) / 2
	}
	for i := 0; i+1 < len(rings); i++ {
		a, b := rings[i], rings[i+1]
		for k := range a {
			m := (k + 1) % len(a)
			tri(a[k], a[m], b[m])
			tri(a[k], b[m], b[k])
		}
	}
	wall := area
	for i, ring := range [][][3]float64{rings[0], rings[len(rings)-1]} {
		centre := [3]float64{0, 0, ring[0][2]}
		for k := range ring {
			m := (k + 1) % len(ring)
			if i == 0 {
				tri(centre, ring[m], ring[k])
			} else {
				tri(centre, ring[k], ring[m])
			}
		}
	}
	wantVolume, err := profile.EnclosedVolume(o, p)
	if err != nil {
		t.Fatal(err)
	}
	wantArea, err := profile.SweptArea(o, p)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mesh volume", math.Abs(volume), wantVolume, 1e-5)
	near(t, "mesh wall", wall, wantArea, 1e-5)
}

// Least clearances of random monotone walls against a scan of the range.
func TestClearanceAgainstScan(t *testing.T) {
	rng := rand.New(rand.NewSource(3))
	wall := func(n0 float64) profile.Profile {
		for {
			k := 2 + rng.Intn(5)
			vs := make([]profile.Vertex, k)
			z := 0.0
			for i := range vs {
				vs[i] = v(n0+20*rng.Float64(), z, 0, fmt.Sprint(i))
				z += 2 + 30*rng.Float64()
			}
			vs = append(vs, v(n0, 200, 0, "end"))
			for i := 1; i+1 < len(vs); i++ {
				vs[i].Radius = 40 * rng.Float64()
			}
			if p, err := profile.New(vs); err == nil {
				return p
			}
		}
	}
	inside, pairs := 0, 500
	if testing.Short() {
		pairs = 50
	}
	for range pairs {
		outer, inner := wall(0), wall(-30)
		z0, z1 := 60*rng.Float64(), 70+60*rng.Float64()
		clear, at, err := profile.LeastHorizontalClearance(outer, inner, z0, z1)
		if err != nil {
			t.Fatal(err)
		}
		least := math.Inf(1)
		const steps = 2000
		for k := 0; k <= steps; k++ {
			z := z0 + (z1-z0)*float64(k)/steps
			a, b := outer.NAt(z), inner.NAt(z)
			if len(a) != 1 || len(b) != 1 {
				t.Fatalf("at %g: %v, %v", z, a, b)
			}
			least = math.Min(least, a[0]-b[0])
		}
		if clear > least+1e-9 || clear < least-0.4 {
			t.Fatalf("least %g, by scan %g", clear, least)
		}
		near(t, "clearance at its depth", outer.NAt(at)[0]-inner.NAt(at)[0], clear, 1e-9)
		if at > z0 && at < z1 {
			inside++
		}
	}
	if inside < pairs/5 {
		t.Errorf("%d least clearances inside the range, want %d of %d at least", inside, pairs/5, pairs)
	}
}

// Fillets of random vertices: Pappus against the difference of volumes, and the
// centroid by quadrature.
func TestFilletAgainstVolumes(t *testing.T) {
	rng := rand.New(rand.NewSource(11))
	done := 0
	for done < 300 {
		o := randomOutline(t, rng)
		low := -o.MaxInset() * 0.9 * rng.Float64()
		p := randomProfile(t, rng, low, 40)
		vs := p.Vertices()
		for i := 1; i+1 < len(vs); i++ {
			f, ok := p.Fillet(i)
			if !ok || f.Area < 1 {
				continue
			}
			got, err := profile.FilletVolume(o, p, i)
			if err != nil {
				t.Fatal(err)
			}
			// The same path with vertex i sharp encloses more, or less, by the fillet.
			sharp := append([]profile.Vertex(nil), vs...)
			sharp[i].Radius = 0
			a, err1 := profile.EnclosedVolume(o, p)
			b, err2 := profile.EnclosedVolume(o, mustProfile(t, sharp...))
			if err := errors.Join(err1, err2); err != nil {
				t.Fatal(err)
			}
			if e := math.Abs(math.Abs(a-b) - got); e > 1e-9*(math.Abs(a)+math.Abs(b)+o.Area()*120) {
				t.Errorf("%v, %v vertex %d: fillet %.10g, difference %.10g", o, vs, i, got, math.Abs(a-b))
			}
			done++
		}
	}
}
