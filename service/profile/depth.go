package profile

import (
	"math"
	"sort"
)

// NAt returns the offsets, mm, at which the path passes depth z, in the order it
// does so; a level run at that depth gives both its ends. There are none where
// the path does not reach.
func (p Profile) NAt(z float64) []float64 {
	var ns []float64
	take := func(n float64) {
		if len(ns) == 0 || math.Abs(ns[len(ns)-1]-n) > fitTolerance*p.size {
			ns = append(ns, n)
		}
	}
	tol := depthTolerance * p.size
	for _, s := range p.segments {
		for _, f := range s.falls() {
			if f.level(tol) {
				if math.Abs(z-f.from.Z) <= tol {
					take(f.from.N)
					take(f.to.N)
				}
				continue
			}
			low, high := f.depths()
			if z >= low-tol && z <= high+tol {
				take(f.at(z, tol))
			}
		}
	}
	return ns
}

// fall is a part of a segment along which z only rises or only falls, so that n
// is a function of z.
type fall struct {
	seg      Segment
	from, to Point
	side     float64 // sign of cos a on an arc: which half of the circle
}

func (f fall) depths() (low, high float64) {
	return math.Min(f.from.Z, f.to.Z), math.Max(f.from.Z, f.to.Z)
}

func (f fall) level(tol float64) bool { return math.Abs(f.to.Z-f.from.Z) <= tol }

// falls cuts the segment at the arc's highest and lowest points.
func (s Segment) falls() []fall {
	if s.Kind == Line {
		return []fall{{s, s.From, s.To, 0}}
	}
	cuts := []float64{0, 1}
	for q := -3; q <= 3; q += 2 { // odd quarter turns
		// Within rounding of an end it is the end.
		if t := (float64(q)*math.Pi/2 - s.Start) / s.Sweep; t > 1e-12 && t < 1-1e-12 {
			cuts = append(cuts, t)
		}
	}
	sort.Float64s(cuts)
	var fs []fall
	for i := 0; i+1 < len(cuts); i++ {
		side := math.Copysign(1, math.Cos(s.Start+s.Sweep*(cuts[i]+cuts[i+1])/2))
		fs = append(fs, fall{s, s.At(cuts[i]), s.At(cuts[i+1]), side})
	}
	return fs
}

// at returns n at depth z, which lies on the fall or within tol of it.
func (f fall) at(z, tol float64) float64 {
	switch {
	case math.Abs(z-f.from.Z) <= tol:
		return f.from.N
	case math.Abs(z-f.to.Z) <= tol:
		return f.to.N
	case f.seg.Kind == Line:
		return f.from.N + (f.to.N-f.from.N)*(z-f.from.Z)/(f.to.Z-f.from.Z)
	}
	// n = c + sqrt(r^2 - (z - cz)^2), on the side of the centre the arc is on.
	r, d := f.seg.Radius, z-f.seg.Center.Z
	return f.seg.Center.N + f.side*math.Sqrt(math.Max((r-d)*(r+d), 0))
}

// wall returns the parts of p that cover depths z0 to z1, shallowest first.
// Level runs and what only touches the range are left out.
func (p Profile) wall(role Role, z0, z1 float64) ([]fall, error) {
	tol := depthTolerance * math.Max(p.size, math.Max(math.Abs(z0), math.Abs(z1)))
	var fs []fall
	for _, s := range p.segments {
		for _, f := range s.falls() {
			low, high := f.depths()
			if !f.level(tol) && low < z1-tol && high > z0+tol {
				fs = append(fs, f)
			}
		}
	}
	sort.SliceStable(fs, func(i, j int) bool {
		a, _ := fs[i].depths()
		b, _ := fs[j].depths()
		return a < b
	})
	reach := z0
	for i, f := range fs {
		low, high := f.depths()
		switch {
		case i > 0 && low < reach-tol:
			return nil, &OverhangError{role, low}
		case low > reach+tol:
			min, max := p.Bounds()
			return nil, &RangeError{role, z0, z1, min.Z, max.Z}
		}
		reach = high
	}
	if len(fs) == 0 || reach < z1-tol {
		min, max := p.Bounds()
		return nil, &RangeError{role, z0, z1, min.Z, max.Z}
	}
	return fs, nil
}

// LeastHorizontalClearance returns the least of outer's offset less inner's over
// the depths z0 to z1, z0 < z1, mm, and the (shallowest) depth where it is found. It is
// negative where inner stands outside outer.
//
// Both must have one offset at every depth of the range. A level run has no one
// offset and is no wall: at its depth, what counts are the offsets just above
// and just below it, those within the range. So where a root arc runs out into a
// ledge at z1, outer's offset at z1 is that of the arc's end, not of the ledge.
//
// The least is exact: it is at an end of a line or arc of either profile, or
// where the two have the same slope, dn/dz. For a line of slope m and an arc,
// n = c + r cos a, z = cz + r sin a, that is at tan a = -m; for two arcs at
//
//	(z - c1)/r1 = (z - c2)/r2  or  (z - c1)/r1 = -(z - c2)/r2.
//
// Errors: *[RangeError] when either does not cover the range, or z0 >= z1;
// *[OverhangError].
func LeastHorizontalClearance(outer, inner Profile, z0, z1 float64) (clear, atZ float64, err error) {
	if !(finite(z0) && finite(z1) && z0 < z1) {
		min, max := outer.Bounds()
		return 0, 0, &RangeError{Outer, z0, z1, min.Z, max.Z}
	}
	out, err := outer.wall(Outer, z0, z1)
	if err != nil {
		return 0, 0, err
	}
	in, err := inner.wall(Inner, z0, z1)
	if err != nil {
		return 0, 0, err
	}
	tol := depthTolerance * math.Max(math.Max(outer.size, inner.size), math.Max(math.Abs(z0), math.Abs(z1)))
	clear = math.Inf(1)
	for i, j := 0, 0; i < len(out) && j < len(in); {
		a, b := out[i], in[j]
		aLow, aHigh := a.depths()
		bLow, bHigh := b.depths()
		low, high := math.Max(z0, math.Max(aLow, bLow)), math.Min(z1, math.Min(aHigh, bHigh))
		for _, z := range candidates(a, b, low, high) {
			if c := a.at(z, tol) - b.at(z, tol); c < clear {
				clear, atZ = c, z
			}
		}
		if aHigh <= bHigh {
			i++
		}
		if bHigh <= aHigh {
			j++
		}
	}
	return clear, atZ, nil
}

// candidates returns the depths, low to high, at which the distance between a
// and b can be least.
func candidates(a, b fall, low, high float64) []float64 {
	if low > high { // within rounding of touching
		return nil
	}
	zs := []float64{low, high}
	take := func(z float64) {
		if z > low && z < high {
			zs = append(zs, z)
		}
	}
	slope := func(f fall) float64 { return (f.to.N - f.from.N) / (f.to.Z - f.from.Z) }
	switch {
	case a.seg.Kind == Arc && b.seg.Kind == Arc:
		// Weighted by the radii so that nothing is divided by a small number.
		r1, r2, c1, c2 := a.seg.Radius, b.seg.Radius, a.seg.Center.Z, b.seg.Center.Z
		take((c1*r2 + c2*r1) / (r1 + r2))
		if r1 != r2 {
			take((c1*r2 - c2*r1) / (r2 - r1))
		}
	case a.seg.Kind == Arc:
		take(a.seg.Center.Z - a.side*a.seg.Radius*math.Sin(math.Atan(slope(b))))
	case b.seg.Kind == Arc:
		take(b.seg.Center.Z - b.side*b.seg.Radius*math.Sin(math.Atan(slope(a))))
	}
	sort.Float64s(zs)
	return zs
}
