package derivation

import (
	"math"
	"slices"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// figure is a number that is looked at: where it stands, its unit and range.
type figure struct {
	pointer     string
	unit        quantity.Unit
	min, max    float64
	whole, null bool
}

// How a figure is searched. Values are counted in steps of the wire.
const (
	// firstLength, firstOther are the first distances from the present value, mm and
	// deg (or whatever unit), and firstShare what they are of the value at least.
	firstLength = 0.25
	firstOther  = 0.25
	firstRatio  = 0.01
	firstShare  = 1.0 / 4
	// nearby is up to how many times the present value distances double; beyond it
	// they grow fourfold, for there only sizes without any rule still go on.
	nearby = 4.0
	// scanParts is into how many parts the way to an end is cut to look for gaps.
	scanParts = 8
	// scanRounds bounds how often gaps found shorten the way.
	scanRounds = 4
	// narrowOpening, mm, and narrowRadii, radii of a custom patch, say which openings
	// are narrow: twice the patch that a step is spread over, 150 mm, and the same of
	// any other.
	narrowOpening = 300.0
	narrowRadii   = 4.0
	// guesses bounds the guesses at a crossing before plain halving; 60 halvings
	// end any bracket.
	guesses = 12
	// spread is the growth of distances when a feasible value is sought at all.
	spread = 1.5
	// finer and farther are the smallest and the largest ratio to the present value
	// at which one is sought.
	finer, farther = 1.15, 64.0
	// onStep is how near to a whole number of steps a value stands on the step, in
	// steps: well above float64 noise (1e-5 of a step at 1e7 mm).
	onStep = 1e-3
)

// probe is the search over one figure.
type probe struct {
	s      *survey
	f      figure
	scale  float64 // steps in a unit
	inch   bool    // steps are of an inch
	now    float64 // present value in steps
	lo, hi int64   // the figure's own range in steps, rounded inward
	asked  map[int64]*ruling
	order  []int64 // as asked
}

func (s *survey) probe(f figure) *probe {
	p := &probe{s: s, f: f, asked: map[int64]*ruling{}}
	units := s.base.config.Units
	switch {
	case f.whole:
		p.scale = 1
	case f.unit.IsLength():
		p.scale, p.inch = math.Pow10(units.Places()), units == quantity.Inch
	default:
		p.scale = math.Pow10(otherPlaces)
	}
	p.lo = int64(math.Ceil(p.steps(f.min) - onStep))
	p.hi = int64(math.Floor(p.steps(f.max) + onStep))
	x, _ := s.base.config.Number(f.pointer)
	p.now = p.steps(x)
	return p
}

// steps returns a magnitude, mm for lengths, in steps.
func (p *probe) steps(x float64) float64 {
	if p.inch {
		x = quantity.Inch.Length(x)
	}
	return x * p.scale
}

// at returns the magnitude of k steps, as the wire's decimal is read.
func (p *probe) at(k int64) float64 {
	x := float64(k) / p.scale
	if p.inch {
		x = quantity.Inch.Millimeters(x)
	}
	return x
}

func (p *probe) config(k int64) part.Configuration {
	c := p.s.base.config
	c.Outline.Corners = slices.Clone(c.Outline.Corners)
	// The pointer is of the table or of a corner that is there.
	_ = c.SetNumber(p.f.pointer, p.at(k))
	return c
}

// quick rules on k steps without strength, whole with it.
func (p *probe) quick(k int64) *ruling {
	r, ok := p.asked[k]
	if !ok {
		c := p.config(k)
		r = p.s.quickly(&c, p.f.pointer)
		p.asked[k] = r
		p.order = append(p.order, k)
	}
	return r
}

func (p *probe) whole(k int64) *ruling {
	r := p.quick(k)
	if r.ok() && !r.strong {
		c := p.config(k)
		p.s.strongly(r, &c)
	}
	return r
}

// sure is whole with nothing lent.
func (p *probe) sure(k int64) *ruling {
	r := p.whole(k)
	if r.ok() && r.lent {
		c := p.config(k)
		*r = *p.s.wholly(&c)
	}
	return r
}

// first is the first distance from the present value, in steps.
func (p *probe) first() int64 {
	least := firstOther * p.scale
	switch {
	case p.f.unit.IsLength():
		least = p.steps(firstLength)
	case p.f.unit == quantity.Ratio:
		least = firstRatio * p.scale
	}
	return max(1, int64(math.Max(least, math.Abs(p.now)*firstShare)))
}

// cut returns k kept between the range's ends.
func (p *probe) cut(k int64) int64 { return min(max(k, p.lo), p.hi) }

// reach goes from a feasible value in a direction, up to wall, at doubling
// distances; the first infeasible value closes a bracket. It returns the last
// feasible value and what is said one step on, nil at the wall.
func (p *probe) reach(from, dir, wall int64) (end int64, out *ruling, gap bool) {
	end, out = p.stride(from, dir, wall)
	for range scanRounds {
		hole := p.scan(from, dir, end, out != nil)
		if hole == end {
			break
		}
		gap = true
		end, out = p.edge(p.before(from, hole, dir), hole, p.whole)
	}
	for _, ask := range []func(int64) *ruling{p.whole, p.sure} {
		if !ask(end).ok() {
			end, out = p.edge(from, end, ask)
		}
	}
	return end, out, gap
}

func (p *probe) stride(from, dir, wall int64) (int64, *ruling) {
	far := int64(nearby * math.Max(math.Abs(p.now), float64(p.first())))
	end := from
	for d := p.first(); end != wall; {
		k := from + dir*d
		if (k-wall)*dir > 0 {
			k = wall
		}
		if !p.quick(k).ok() {
			return p.edge(end, k, p.quick)
		}
		end = k
		if d *= 2; d > far {
			d *= 2
		}
	}
	return end, nil
}

// scan looks for an infeasible value between from and end and returns the one
// nearest to from, or end. Where a value was asked within half a part of the place,
// that one does. Strength takes long and changes smoothly: it is asked in the middle
// only, and everywhere over narrow openings.
func (p *probe) scan(from, dir, end int64, bound bool) int64 {
	span := (end - from) * dir
	if !bound {
		span = min(span, int64(2*nearby*math.Max(math.Abs(p.now), float64(p.first()))))
	}
	for i := int64(1); i < scanParts; i++ {
		k := from + dir*(span*i/scanParts)
		if k == from || k == end {
			continue
		}
		for _, j := range p.order {
			if abs(j-k)*2*scanParts <= span && j != from && j != end && (end-j)*dir > 0 && (j-from)*dir > 0 {
				k = j
				break
			}
		}
		r := p.quick(k)
		if r.ok() && !r.strong && (i == scanParts/2 || narrow(r)) {
			r = p.whole(k)
		}
		if !r.ok() {
			return k
		}
	}
	return end
}

// narrow reports whether the opening is so narrow against a step's patch that a
// smaller one may be used to more: there strength does not go one way with size.
func narrow(r *ruling) bool {
	g := r.after.geometry
	if g.Stage < part.StageWhole {
		return false
	}
	return panel(&r.after.config, g).Short() < math.Max(narrowOpening, narrowRadii*r.after.config.Duty.PointRadius)
}

// before returns the feasible value farthest on the way to k.
func (p *probe) before(from, k, dir int64) int64 {
	best := from
	for _, j := range p.order {
		if (j-from)*dir > 0 && (k-j)*dir > 0 && (j-best)*dir > 0 && p.whole(j).ok() {
			best = j
		}
	}
	return best
}

// edge narrows a bracket from a feasible a to an infeasible b to neighbors. Guesses
// come from what the errors measure; they are only ever tried, so that a wrong one
// costs time and nothing else.
func (p *probe) edge(a, b int64, ask func(int64) *ruling) (int64, *ruling) {
	dir := int64(1)
	if b < a {
		dir = -1
	}
	ask(b)
	for n := 0; (b-a)*dir > 1; n++ {
		k, ok := int64(0), false
		if n < guesses {
			k, ok = p.crossing(a, b, dir)
		}
		if !ok {
			k = a + (b-a)/2
			if ask(k).ok() {
				a = k
			} else {
				b = k
			}
			continue
		}
		// Steps that grow from the guess close the bracket on its far side.
		if ask(k).ok() {
			a = k
			for step := dir; (b-a)*dir > 1; step *= 4 {
				k = a + step
				if (b-k)*dir < 1 {
					break
				}
				if !ask(k).ok() {
					b = k
					break
				}
				a = k
			}
			continue
		}
		b = k
		for step := dir; (b-a)*dir > 1; step *= 4 {
			k = b - step
			if (k-a)*dir < 1 {
				break
			}
			if ask(k).ok() {
				a = k
				break
			}
			b = k
		}
	}
	return a, ask(b)
}

// crossing guesses where the last error goes between a and b: at the value that a
// mend of this very figure names, or where what is measured meets its limit, by
// interpolation through up to three infeasible values at and beyond b.
func (p *probe) crossing(a, b, dir int64) (int64, bool) {
	guess, found := float64(b), false
	take := func(g float64) {
		// The error that goes last on the way to a decides.
		if math.IsNaN(g) || (g-float64(a))*float64(dir) <= 0 || (float64(b)-g)*float64(dir) < 0 {
			return
		}
		if !found || (guess-g)*float64(dir) > 0 {
			guess, found = g, true
		}
	}
	for _, f := range p.asked[b].errors {
		told := false
		for _, m := range f.Mends {
			if m.Pointer == p.f.pointer && !m.Sought && m.Word == "" && m.Value.Unit == p.f.unit {
				take(p.steps(m.Value.Magnitude))
				told = true
			}
		}
		if !told {
			take(p.zero(f, b, dir))
		}
	}
	if !found {
		return 0, false
	}
	k := int64(math.Floor(guess + onStep))
	if dir < 0 {
		k = int64(math.Ceil(guess - onStep))
	}
	if (k-a)*dir < 1 {
		k = a + dir
	}
	if (b-k)*dir < 1 {
		k = b - dir
	}
	return k, true
}

func margin(f finding.Finding) float64 { return f.Measured.Magnitude - f.Limit.Magnitude }

// zero returns where the margin of f would vanish, from the nearest values at and
// beyond b that have f: inverse interpolation, quadratic through three, linear
// through two.
//
//	x(0) = Σ x_i Π_{j≠i} m_j / (m_j - m_i)
//
// Ratios (of stress to strength, of flow to rain) go with powers of the sizes, so
// they are interpolated between logarithms:
//
//	m = ln(measured/limit), x = ln k
func (p *probe) zero(f finding.Finding, b, dir int64) float64 {
	var xs, ms []float64
	powers := f.Measured.Unit == quantity.Ratio && f.Limit.Magnitude > 0 && b > 0
	last := b - dir
	for len(xs) < 3 {
		next, ok := int64(0), false
		for _, k := range p.order {
			if (k-last)*dir > 0 && (!ok || (next-k)*dir > 0) && !p.asked[k].ok() {
				next, ok = k, true
			}
		}
		if !ok {
			break
		}
		last = next
		i := slices.IndexFunc(p.asked[next].errors, func(g finding.Finding) bool { return finding.Same(f, g) })
		if i < 0 {
			break
		}
		x, m := float64(next), margin(p.asked[next].errors[i])
		if powers {
			x, m = math.Log(x), math.Log1p(m/f.Limit.Magnitude)
		}
		xs, ms = append(xs, x), append(ms, m)
	}
	if len(xs) < 2 {
		return math.NaN()
	}
	sum := 0.0
	for i := range xs {
		term := xs[i]
		for j := range xs {
			if j != i {
				term *= ms[j] / (ms[j] - ms[i])
			}
		}
		sum += term
	}
	if powers {
		return math.Exp(sum)
	}
	return sum
}

// number works out the interval of one figure.
func (s *survey) number(f figure) Interval {
	p := s.probe(f)
	x, _ := s.base.config.Number(f.pointer)
	out := Interval{Pointer: f.pointer, Value: quantity.Of(x, f.unit), Whole: f.whole, Null: f.null && x == 0, Contains: len(s.errors) == 0}
	below, above := int64(math.Floor(p.now+onStep)), int64(math.Ceil(p.now-onStep))
	if out.Null {
		// Left out: what is flat enough, or deep enough, stands at the far end.
		below, above = p.hi, p.hi
	}
	if !out.Null && !(x >= f.min && x <= f.max) {
		out.Contains = false
	}
	if out.Contains && !out.Null {
		out.Feasible = true
		p.around(&out, below, above)
		return out
	}
	if from, ok := p.find(p.cut(below), p.cut(above), out.Null); ok {
		out.Feasible = true
		p.about(&out, from, p.cut(below), p.cut(above))
		return out
	}
	if out.Contains {
		// Only left out does it work.
		r := p.sure(p.cut(above))
		if r.ok() {
			r = p.sure(p.lo)
		}
		out.MinBound, out.MaxBound = boundBy(r.errors), boundBy(r.errors)
		return out
	}
	out.MinBound, out.MaxBound = boundBy(s.errors), boundBy(s.errors)
	return out
}

// around finds the interval about a present value that is feasible; below and
// above are its neighbors on the step, or itself.
func (p *probe) around(out *Interval, below, above int64) {
	side := func(from, dir, wall int64) (quantity.Value, Bound, int64) {
		if r := p.sure(from); !r.ok() {
			// The present value stands off the step and its neighbor fails.
			return out.Value, boundBy(r.errors), from - dir
		}
		end, r, gap := p.reach(from, dir, wall)
		out.More = out.More || gap
		if r == nil {
			return quantity.Of(p.at(end), p.f.unit), Bound{Range: true}, end
		}
		return quantity.Of(p.at(end), p.f.unit), boundBy(r.errors), end
	}
	var lo, hi int64
	out.Max, out.MaxBound, hi = side(above, 1, p.hi)
	out.Min, out.MinBound, lo = side(below, -1, p.lo)
	p.beyond(out, lo, hi)
}

// about finds the interval about a feasible value other than the present one,
// which lies between below and above and bounds it.
func (p *probe) about(out *Interval, from, below, above int64) {
	side := func(dir, wall int64) (quantity.Value, Bound, int64) {
		inward := false
		if !out.Null {
			switch {
			case dir < 0 && from > above, dir < 0 && from == above && below != above:
				wall, inward = above, true
			case dir > 0 && from < below, dir > 0 && from == below && below != above:
				wall, inward = below, true
			}
		}
		if inward && !p.whole(wall).ok() {
			// Neither side of a search may step over the present value.
			end, r := p.inward(from, wall)
			return quantity.Of(p.at(end), p.f.unit), boundBy(r.errors), end
		}
		end, r, gap := p.reach(from, dir, wall)
		out.More = out.More || gap
		v := quantity.Of(p.at(end), p.f.unit)
		switch {
		case r != nil:
			return v, boundBy(r.errors), end
		case inward:
			return v, boundBy(p.s.errors), end
		}
		return v, Bound{Range: true}, end
	}
	var lo, hi int64
	out.Max, out.MaxBound, hi = side(1, p.hi)
	out.Min, out.MinBound, lo = side(-1, p.lo)
	p.beyond(out, lo, hi)
}

// inward narrows the end that looks to the present value: between from and the
// nearest value known to fail on the way to wall.
func (p *probe) inward(from, wall int64) (int64, *ruling) {
	near := wall
	for _, k := range p.order {
		if !p.asked[k].ok() && (k-from)*(wall-from) > 0 && abs(k-from) < abs(near-from) {
			near = k
		}
	}
	return p.edge(from, near, p.sure)
}

func abs(k int64) int64 { return max(k, -k) }

// beyond looks for feasible values outside the interval found.
func (p *probe) beyond(out *Interval, lo, hi int64) {
	for _, k := range p.order {
		if (k < lo || k > hi) && p.asked[k].ok() && p.whole(k).ok() {
			out.More = true
		}
	}
	width := max(hi-lo, p.first(), 2)
	// As far out as the interval is wide or, where the range ends before, halfway.
	down, up := lo-width, hi+width
	if down < p.lo {
		down = p.lo + (lo-p.lo)/2
	}
	if up > p.hi {
		up = hi + (p.hi-hi+1)/2
	}
	for _, k := range []int64{down, up} {
		if (k < lo-1 || k > hi+1) && !out.More && k >= p.lo && k <= p.hi && p.whole(k).ok() {
			out.More = true
		}
	}
}

// find looks for a feasible value where the present one is none: first at the
// values that mends name, then at distances that grow coarsely, then finely. A
// search in which an error never moves ends early.
func (p *probe) find(below, above int64, open bool) (int64, bool) {
	if p.lo > p.hi {
		return 0, false
	}
	best, found := int64(0), false
	try := func(k int64) bool {
		if k < p.lo || k > p.hi || !p.sure(k).ok() {
			return false
		}
		if d := math.Abs(float64(k) - p.now); !found || d < math.Abs(float64(best)-p.now) {
			best, found = k, true
		}
		return true
	}
	named := func() {
		// Errors come anew at the values that others' mends lead to: two rounds.
		for range 2 {
			for _, k := range slices.Clone(p.order) {
				for _, f := range p.asked[k].errors {
					for _, m := range f.Mends {
						if m.Pointer == p.f.pointer && !m.Sought && m.Word == "" && m.Value.Unit == p.f.unit {
							g := p.steps(m.Value.Magnitude)
							try(int64(math.Floor(g + onStep)))
							try(int64(math.Ceil(g - onStep)))
						}
					}
				}
			}
		}
	}
	try(below)
	try(above)
	if open {
		if found {
			return best, true
		}
	}
	named()
	for d := p.first(); d < p.hi-p.lo && !found; d *= 8 {
		try(p.cut(below - d))
		try(p.cut(above + d))
	}
	try(p.lo)
	try(p.hi)
	if !found && p.stuck() {
		return 0, false
	}
	named()
	if found {
		return best, true
	}
	for r := finer; r < farther && !found; r *= finer {
		try(p.cut(int64(p.now / r)))
		if r < nearby {
			try(p.cut(int64(p.now * r)))
		}
	}
	for d := float64(p.first()); d < float64(p.hi-p.lo) && !found; d *= spread {
		if k := below - int64(d); k > p.lo {
			try(k)
		}
		if k := above + int64(d); k < p.hi && d < 2*nearby*math.Max(math.Abs(p.now), float64(p.first())) {
			try(k)
		}
	}
	if !found {
		p.meet(try)
	}
	return best, found
}

// stuck reports whether some error of the base says the same at every value asked.
func (p *probe) stuck() bool {
	for _, f := range p.s.errors {
		still := len(p.order) > 2
		for _, k := range p.order {
			still = still && slices.ContainsFunc(p.asked[k].errors, func(g finding.Finding) bool {
				return finding.Same(f, g) && f.Measured == g.Measured && f.Limit == g.Limit
			})
		}
		if still {
			return true
		}
	}
	return false
}

// meet tries where the margins of neighbors asked would vanish: narrow intervals
// lie between two errors of opposite sense.
func (p *probe) meet(try func(int64) bool) {
	ks := slices.Clone(p.order)
	slices.Sort(ks)
	for i := 1; i < len(ks); i++ {
		a, b := ks[i-1], ks[i]
		if b-a < 2 {
			continue
		}
		for _, side := range []struct{ k, dir int64 }{{b, 1}, {a, -1}} {
			for _, f := range p.asked[side.k].errors {
				g := p.zero(f, side.k, side.dir)
				if math.IsNaN(g) || g <= float64(a) || g >= float64(b) {
					continue
				}
				if try(int64(math.Floor(g+onStep))) || try(int64(math.Ceil(g-onStep))) {
					return
				}
			}
		}
	}
}
