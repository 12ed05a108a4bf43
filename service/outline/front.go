package outline

import (
	"container/heap"
	"math"
	"sort"
)

// front is an outline on its way inwards: every edge moves in at unit speed, and
// the inset e plays the part of time. Two kinds of thing happen:
//
//   - the radius of a corner is used up and the corner goes sharp, at e = r;
//   - the straight part of an edge is used up. If both its corners are sharp the
//     edge is dropped and they become one; if not, the outline stops being one.
//
// While a corner is round, what the edge loses by moving in it gets back from
// the shorter tangent, so that the straight part of edge i at inset e is
//
//	s(e) = c - max(e - q1, 0) tan(p1/2) - max(e - q2, 0) tan(p2/2)
//
// with q the inset at which the corner at either end went or will go sharp, and
// p its turn. (The shrinking wavefront of a convex polygon; O. Aichholzer and
// others, "A novel type of skeleton for polygons", J. UCS 1(12), 1995, with
// rounded corners added.)
type front struct {
	prev, next []int // live edges round the shape; corner i is at the start of edge i
	live       []bool
	count      int
	dir        []Point
	keep       []float64 // c above
	version    []int     // of an edge; events of older versions are void

	sharpAt []float64 // q above
	turn    []float64
	half    []float64
	base    []Point   // the corner's place at inset baseAt
	baseAt  []float64 //
	speed   []Point   // the corner's velocity, outward mitre; it moves by -speed

	round   int   // how many of bySharp have been passed
	bySharp []int // corners in the order they go sharp
	events  vanishings
	tol     float64

	// The outline's law, kept up to date at inset now.
	now             float64
	perimeter, area float64
	rate            float64 // -dL/de
	isSharp         []bool  // counted as sharp in rate
	moved           func()  // called after now changed or at a change of rate

	stopped  bool
	stopEdge int // -1: no area is left
}

type vanishing struct {
	at      float64
	edge    int
	version int
}

type vanishings []vanishing

func (v vanishings) Len() int { return len(v) }
func (v vanishings) Less(i, j int) bool {
	return v[i].at < v[j].at || v[i].at == v[j].at && v[i].edge < v[j].edge
}
func (v vanishings) Swap(i, j int) { v[i], v[j] = v[j], v[i] }
func (v *vanishings) Push(x any)   { *v = append(*v, x.(vanishing)) }
func (v *vanishings) Pop() any {
	old := *v
	x := old[len(old)-1]
	*v = old[:len(old)-1]
	return x
}

func newFront(o Outline) *front {
	n := len(o.corners)
	f := &front{
		prev: make([]int, n), next: make([]int, n), live: make([]bool, n), count: n,
		dir: o.dir, keep: append([]float64(nil), o.straight...), version: make([]int, n),
		sharpAt: make([]float64, n), turn: append([]float64(nil), o.turn...),
		half: append([]float64(nil), o.half...), base: make([]Point, n), baseAt: make([]float64, n),
		speed: make([]Point, n), bySharp: make([]int, n), isSharp: make([]bool, n),
		tol: fit(o.size), perimeter: o.Perimeter(), area: o.Area(), rate: 2 * math.Pi,
	}
	for i, c := range o.corners {
		f.prev[i], f.next[i], f.live[i] = o.before(i), o.after(i), true
		f.sharpAt[i], f.base[i] = c.Radius, c.At
		f.speed[i] = mitre(o.dir[o.before(i)], o.dir[i])
		f.bySharp[i] = i
	}
	sort.SliceStable(f.bySharp, func(a, b int) bool { return f.sharpAt[f.bySharp[a]] < f.sharpAt[f.bySharp[b]] })
	f.events = make(vanishings, 0, n)
	for i := range o.corners {
		f.events = append(f.events, vanishing{f.vanishes(i), i, 0})
	}
	heap.Init(&f.events)
	return f
}

// lost returns what corner j has taken off the straight part of either edge at
// inset e.
func (f *front) lost(j int, e float64) float64 {
	return math.Max(e-f.sharpAt[j], 0) * f.half[j]
}

func (f *front) straight(i int, e float64) float64 {
	return f.keep[i] - f.lost(i, e) - f.lost(f.next[i], e)
}

// vanishes returns the inset, now or later, at which edge i has no straight part
// left to lose.
func (f *front) vanishes(i int) float64 {
	a, b := i, f.next[i]
	if f.sharpAt[a] > f.sharpAt[b] {
		a, b = b, a
	}
	c := math.Max(f.keep[i], 0)
	e := f.sharpAt[a] + c/f.half[a]
	if e > f.sharpAt[b] {
		e = (c + f.sharpAt[a]*f.half[a] + f.sharpAt[b]*f.half[b]) / (f.half[a] + f.half[b])
	}
	return math.Max(e, f.now)
}

// place returns where corner j is at inset e.
func (f *front) place(j int, e float64) Point {
	return f.base[j].along(f.speed[j], f.baseAt[j]-e)
}

// advance carries the law forward to inset e.
//
//	L(e) = L - K de        A(e) = A - L de + K de^2/2
//
// with K = sum over round corners of p + sum over sharp ones of 2 tan(p/2).
func (f *front) advance(e float64) {
	if de := e - f.now; de > 0 {
		f.area += de * (f.rate*de/2 - f.perimeter)
		f.perimeter -= f.rate * de
		f.now = e
	}
}

func (f *front) sharpen(j int) {
	if !f.isSharp[j] {
		f.isSharp[j] = true
		f.rate += 2*f.half[j] - f.turn[j]
	}
}

// run carries out everything that happens up to and at inset e, or until the
// shape stops being an outline.
func (f *front) run(e float64) {
	for !f.stopped {
		for len(f.events) > 0 && (!f.live[f.events[0].edge] || f.version[f.events[0].edge] != f.events[0].version) {
			heap.Pop(&f.events)
		}
		if f.round < len(f.bySharp) {
			j := f.bySharp[f.round]
			if at := f.sharpAt[j]; len(f.events) == 0 || at <= f.events[0].at || !f.live[j] {
				if f.live[j] && at > e {
					return
				}
				f.round++
				if f.live[j] && !f.isSharp[j] {
					f.advance(at)
					f.sharpen(j)
					f.note()
				}
				continue
			}
		}
		if len(f.events) == 0 || f.events[0].at > e {
			return
		}
		v := heap.Pop(&f.events).(vanishing)
		f.advance(v.at)
		f.drop(v.edge, false)
		f.note()
	}
}

func (f *front) note() {
	if f.moved != nil {
		f.moved()
	}
}

// drop removes edge i at inset now. When forced, some of its straight part is
// still left.
func (f *front) drop(i int, forced bool) {
	p, k := f.prev[i], f.next[i]
	if math.Max(f.sharpAt[i], f.sharpAt[k])-f.now > f.tol {
		f.stopped, f.stopEdge = true, i
		return
	}
	turn := f.turn[i] + f.turn[k]
	if f.count <= 3 || turn >= math.Pi-needleAngle {
		f.stopped, f.stopEdge = true, -1
		return
	}
	a, b := f.place(i, f.now), f.place(k, f.now)
	at := a.add(b).times(0.5)
	u, v := f.dir[p], f.dir[k]
	if forced {
		// Not where the neighbours meet far off: what is left of the edge is then
		// no trifle, however short.
		s := b.sub(a).cross(v) / u.cross(v)
		if math.Abs(s) > forcedReach*f.tol {
			return
		}
		at = a.along(u, s)
	}
	f.sharpen(i)
	f.sharpen(k)
	f.keep[p] -= f.lost(i, f.now)
	f.keep[k] -= f.lost(k, f.now)
	f.rate -= 2 * (f.half[i] + f.half[k])
	// Corner k, at the start of edge k, is now the meeting of edges p and k.
	f.turn[k], f.half[k] = turn, math.Tan(turn/2)
	f.rate += 2 * f.half[k]
	f.sharpAt[k], f.base[k], f.baseAt[k], f.speed[k] = f.now, at, f.now, mitre(u, v)
	f.live[i] = false
	f.count--
	f.next[p], f.prev[k] = k, p
	for _, edge := range [...]int{p, k} {
		f.version[edge]++
		heap.Push(&f.events, vanishing{f.vanishes(edge), edge, f.version[edge]})
	}
}

// dropShort removes the edges that are all but gone at inset now: those shorter
// than the tolerance between two sharp corners.
func (f *front) dropShort() {
	for i := range f.live {
		for j := i; !f.stopped && f.live[j] && f.straight(j, f.now) <= 2*f.tol &&
			f.sharpAt[j] <= f.now && f.sharpAt[f.next[j]] <= f.now; {
			back := f.prev[j]
			f.drop(j, true)
			if f.live[j] {
				break
			}
			j = back
		}
	}
}
