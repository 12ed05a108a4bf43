package profile

import (
	"math"
	"sort"

	"hatchwright/service/outline"
)

// SweptArea returns the area, mm^2, of the surface p sweeps round o:
//
//	S = integral of L(n(s)) ds
//
// On a piece of the outline's law, L(n) = L + K (n - N), so with n linear along
// a line, and n = c + r cos a, ds = r |da| on an arc from a0 to a1,
//
//	line  S = l (L + K (n_mid - N))
//	arc   S = r |(L + K (c - N)) (a1 - a0) + K r (sin a1 - sin a0)|
//
// Errors: *[outline.CollapseError] when p goes further in than o does.
func SweptArea(o outline.Outline, p Profile) (float64, error) {
	law := o.Law()
	total := 0.0
	for _, s := range p.segments {
		l := s.Length()
		err := s.pieces(law, func(q outline.Piece, t0, t1 float64) {
			mid, h := (t0+t1)/2, (t1-t0)/2
			if s.Kind == Line {
				total += l * (t1 - t0) * q.PerimeterAt(s.offsetAt(mid))
				return
			}
			// sin a1 - sin a0 = 2 cos(mid) sin(half), which does not cancel.
			sin := 2 * math.Cos(s.Start+s.Sweep*mid) * math.Sin(s.Sweep*h)
			total += s.Radius * math.Copysign(1, s.Sweep) *
				(q.PerimeterAt(s.Center.N)*s.Sweep*(t1-t0) + q.Slope*s.Radius*sin)
		})
		if err != nil {
			return 0, err
		}
	}
	return total, nil
}

// EnclosedVolume returns the volume, mm^3, within the surface p sweeps round o,
// between the depths of p's ends:
//
//	V = integral of A(n(z)) dz
//
// dz is signed along the path: parts that run up count against those that run
// down, level parts count nothing. On a piece of the outline's law A is a
// quadratic in n, for which Simpson's rule is exact on a line; on an arc, with
// m = c - N, dz = r cos a da and
//
//	A = A + L m + K m^2/2 + (L + K m) r cos a + (K/2) r^2 cos^2 a
//
// the integrals are those of the first three powers of the cosine.
//
// Errors: *[outline.CollapseError] when p goes further in than o does.
func EnclosedVolume(o outline.Outline, p Profile) (float64, error) {
	return enclosed(o.Law(), p.segments)
}

func enclosed(law outline.Law, segments []Segment) (float64, error) {
	total := 0.0
	for _, s := range segments {
		err := s.pieces(law, func(q outline.Piece, t0, t1 float64) {
			if s.Kind == Line {
				dz := (s.To.Z - s.From.Z) * (t1 - t0)
				a0, am, a1 := q.AreaAt(s.offsetAt(t0)), q.AreaAt(s.offsetAt((t0+t1)/2)), q.AreaAt(s.offsetAt(t1))
				total += dz * (a0 + 4*am + a1) / 6
				return
			}
			mid, h := s.Start+s.Sweep*(t0+t1)/2, s.Sweep*(t1-t0)/2
			// integral of cos(k a) = 2 cos(k mid) sin(k h) / k, and
			// cos^2 a = (1 + cos 2a)/2, cos^3 a = (3 cos a + cos 3a)/4.
			c1 := 2 * math.Cos(mid) * math.Sin(h)
			c2 := h + math.Cos(2*mid)*math.Sin(2*h)/2
			c3 := (3*c1 + 2*math.Cos(3*mid)*math.Sin(3*h)/3) / 4
			r := s.Radius
			total += r * (q.AreaAt(s.Center.N)*c1 + r*(q.PerimeterAt(s.Center.N)*c2+r*q.Slope/2*c3))
		})
		if err != nil {
			return 0, err
		}
	}
	return total, nil
}

// offsetAt returns n the part t of the way along.
func (s Segment) offsetAt(t float64) float64 {
	if s.Kind == Line {
		return s.From.N + (s.To.N-s.From.N)*t
	}
	return s.Center.N + s.Radius*math.Cos(s.Start+s.Sweep*t)
}

// pieces cuts the segment where its offset passes from one piece of the law to
// another and calls do for each part, t0 to t1 of the way along.
func (s Segment) pieces(law outline.Law, do func(q outline.Piece, t0, t1 float64)) error {
	cuts := []float64{0, 1}
	low := math.Min(s.From.N, s.To.N)
	high := math.Max(s.From.N, s.To.N)
	if s.Kind == Arc {
		low, high = math.Min(low, s.Center.N-s.Radius), math.Max(high, s.Center.N+s.Radius)
	}
	for _, q := range law.Within(low, high) {
		cuts = append(cuts, s.reaches(q.Low)...)
	}
	sort.Float64s(cuts)
	for i := 0; i+1 < len(cuts); i++ {
		t0, t1 := cuts[i], cuts[i+1]
		if t0 == t1 {
			continue
		}
		q, err := law.Piece(s.offsetAt((t0 + t1) / 2))
		if err != nil {
			return err
		}
		do(q, t0, t1)
	}
	return nil
}

// reaches returns the parts of the way, strictly between 0 and 1, at which the
// segment's offset is n.
func (s Segment) reaches(n float64) []float64 {
	var at []float64
	take := func(t float64) {
		if t > 0 && t < 1 {
			at = append(at, t)
		}
	}
	if s.Kind == Line {
		if d := s.To.N - s.From.N; d != 0 {
			take((n - s.From.N) / d)
		}
		return at
	}
	if c := (n - s.Center.N) / s.Radius; math.Abs(c) < 1 {
		a := math.Acos(c)
		for _, b := range [...]float64{a, -a} {
			// Start is within -pi..pi and the sweep within half a turn.
			for k := -1; k <= 1; k++ {
				take((b + 2*math.Pi*float64(k) - s.Start) / s.Sweep)
			}
		}
	}
	return at
}
