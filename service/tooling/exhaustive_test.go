package tooling

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"

	"hatchwright/service/outline"
	"hatchwright/service/shop"
)

// mostCuts bounds the trees that are looked at exhaustively.
const mostCuts = 4

// answer is a plan from one master, as the exhaustive search values it.
type answer struct {
	cuts  int
	err   float64
	runs  int
	found bool
}

func (a answer) worse(cuts int, err float64, runs int) bool {
	switch {
	case !a.found || cuts < a.cuts:
		return true
	case cuts > a.cuts:
		return false
	case math.Abs(err-a.err) > errorSlack:
		return err < a.err
	}
	return runs < a.runs
}

// everyTree grows every tree of at most mostCuts rabbets, tries every template as
// the first need's and every template within tolerance as the others', and keeps
// the best. It shares nothing with the planner but the needs themselves.
func everyTree(c *Crib, needs []need) answer {
	var best answer
	depth := []float64{0}
	rank := []int{0}
	var grow func(least int)
	n := len(needs)
	type match struct {
		option, node int
		miss         float64
	}
	value := func() {
		rabbets := len(depth) - 1
		for h := range needs[0].options {
			for a := range depth {
				var lists [4][]match
				lists[0] = []match{{h, a, 0}}
				whole := true
				for i := 1; i < n && whole; i++ {
					for k, o := range needs[i].options {
						want := o.depth - needs[0].options[h].depth
						for b := range depth {
							if miss := depth[b] - depth[a] - want; math.Abs(miss) <= needs[i].tolerance+sameSize {
								lists[i] = append(lists[i], match{k, b, miss})
							}
						}
					}
					whole = len(lists[i]) > 0
				}
				if !whole {
					continue
				}
				chosen := make([]match, n)
				var pick func(i int)
				pick = func(i int) {
					if i < n {
						for _, m := range lists[i] {
							chosen[i] = m
							pick(i + 1)
						}
						return
					}
					cuts, err := rabbets, 0.0
					for i, m := range chosen {
						o := needs[i].options[m.option]
						cuts += o.cuts
						err += c.practice.LayoutError + c.stepError()*float64(rank[m.node]) + o.err + math.Abs(m.miss)
					}
					if best.found && (cuts > best.cuts || cuts == best.cuts && err > best.err+errorSlack) {
						return
					}
					options := make([]option, n)
					for i, m := range chosen {
						options[i] = needs[i].options[m.option]
					}
					if runs := everyOrder(c, rabbets, options); best.worse(cuts, err, runs) {
						best = answer{cuts, err, runs, true}
					}
				}
				pick(0)
			}
		}
	}
	grow = func(least int) {
		value()
		if len(depth) > mostCuts {
			return
		}
		// Children are added in the order of parent and step: every tree once.
		for key := least; key < len(depth)*len(c.steps); key++ {
			parent, step := key/len(c.steps), key%len(c.steps)
			depth, rank = append(depth, depth[parent]+c.steps[step].size), append(rank, rank[parent]+1)
			grow(key + 1)
			depth, rank = depth[:len(depth)-1], rank[:len(rank)-1]
		}
	}
	grow(0)
	return best
}

// everyOrder is the least number of stretches without a change of bit, over every
// order of the work and every choice of bits. Each rabbet comes with its trim, all
// trimmed with one bit. Boards may be cut at any time: that one must wait for its
// template cannot cost a stretch, as the last trim's is open to all.
func everyOrder(c *Crib, rabbets int, options []option) int {
	type job struct {
		tools uint64
		after int // job that must be done before; -1: none
	}
	var jobs []job
	for _, o := range options {
		after := -1
		if o.frame >= 0 {
			after = len(jobs)
			jobs = append(jobs, job{1 << o.frame, -1})
		}
		if o.tools != 0 {
			jobs = append(jobs, job{o.tools, after})
		}
	}
	// state: jobs done, rabbets done, bit in the collet, bit that trims (-1: none yet)
	type state struct{ done, rabbets, bit, trim int }
	start := state{0, 0, -1, -1}
	reached := map[state]int{start: 0}
	queue := []state{start}
	best := math.MaxInt
	for len(queue) > 0 {
		s := queue[0]
		queue = queue[1:]
		runs := reached[s]
		if s.done == 1<<len(jobs)-1 && s.rabbets == rabbets {
			best = min(best, runs)
			continue
		}
		visit := func(next state, runs int) {
			if old, ok := reached[next]; !ok || runs < old {
				reached[next] = runs
				queue = append(queue, next)
			}
		}
		if s.rabbets < rabbets {
			for set := c.trimmers(); set != 0; set &= set - 1 {
				if b := bits.TrailingZeros64(set); s.trim < 0 || s.trim == b {
					visit(state{s.done, s.rabbets + 1, b, b}, runs+2)
				}
			}
		}
		for i, j := range jobs {
			if s.done&(1<<i) != 0 || j.after >= 0 && s.done&(1<<j.after) == 0 {
				continue
			}
			for set := j.tools; set != 0; set &= set - 1 {
				b := bits.TrailingZeros64(set)
				more := 1
				if b == s.bit {
					more = 0
				}
				visit(state{s.done | 1<<i, s.rabbets, b, s.trim}, runs+more)
			}
		}
	}
	return best
}

// smallCrib draws a crib of a few bits; sizes are on a grid of half a millimeter,
// so that sums coincide.
func smallCrib(r *rand.Rand) *shop.Profile {
	half := func(lo, hi int) float64 { return float64(2*lo+r.IntN(2*(hi-lo)+1)) / 2 }
	p := &shop.Profile{}
	p.Sheets = []shop.Sheet{{Key: "board", Thickness: 18, Length: 2440, Width: 1220, Density: 750}}
	keys := []string{"a", "b", "c"}
	for i := range 1 + r.IntN(3) {
		d := half(6, 20)
		p.Crib = append(p.Crib, shop.Bit{Key: "trim " + keys[i], Kind: shop.FlushTrim, Diameter: d, Bearings: []float64{d}, CuttingLength: []float64{12, 25, 50}[r.IntN(3)]})
	}
	rabbet := shop.Bit{Key: "rabbet", Kind: shop.Rabbet, Diameter: 35, CuttingLength: 13}
	for range 1 + r.IntN(3) {
		rabbet.Bearings = append(rabbet.Bearings, 35-2*half(2, 13))
	}
	p.Crib = append(p.Crib, rabbet)
	for i := range r.IntN(3) {
		d := half(8, 20)
		p.Crib = append(p.Crib, shop.Bit{Key: "taper " + keys[i], Kind: shop.Tapered, Diameter: d, Bearings: []float64{d}, CuttingLength: 25, Draft: float64(1 + r.IntN(2))})
	}
	return p
}

// TestPlanAgainstEveryTree holds the planner against exhaustive search on small
// cribs: masters, cuts, accumulated error and changes of bit.
func TestPlanAgainstEveryTree(t *testing.T) {
	const cribs = 2000
	r := rand.New(rand.NewPCG(7, 11))
	one, more, framed, above := 0, 0, 0, 0
	for n := range cribs {
		p := smallCrib(r)
		c := NewCrib(p)
		stack := func(sheets int) Stack {
			s := Stack{Thickness: 18 * float64(sheets)}
			for range sheets {
				s.Sheets = append(s.Sheets, p.Sheets[0])
			}
			return s
		}
		drafts := []float64{0, 0, 1, 2}
		o, err := outline.Rectangle(600, 400, float64(10+r.IntN(40)))
		if err != nil {
			t.Fatal(err)
		}
		half := func(lo, hi int) float64 { return float64(2*lo+r.IntN(2*(hi-lo)+1)) / 2 }
		needs := make([]need, 3)
		needs[0] = need{name: "recess", outline: o, tolerance: 0.05}
		c.block(&needs[0], 0, drafts[r.IntN(4)], stack(1+r.IntN(2)))
		needs[1] = need{name: "trunk", outline: o, tolerance: 0.25}
		// Half of the figures are drawn so that some sum of steps makes them.
		depth, gap := half(8, 40), half(2, 6)
		if r.IntN(2) == 0 {
			depth = c.reach[r.IntN(len(c.reach))]
		}
		if d := c.flush[r.IntN(len(c.flush))].diameter; r.IntN(2) == 0 {
			if g := c.reach[r.IntN(len(c.reach))] - d; g > 1 && g < 9 {
				gap = g
			}
		}
		c.block(&needs[1], math.Max(depth, 6)+0.1*r.Float64(), drafts[r.IntN(4)], stack(1+r.IntN(3)))
		lid, err := o.Offset(-gap)
		if err != nil {
			t.Fatal(err)
		}
		needs[2] = need{name: "lid", outline: lid, hole: true, tolerance: 0.05}
		c.hole(&needs[2], gap, drafts[r.IntN(4)], stack(1+r.IntN(2)))

		groups := c.plan(needs)
		for _, g := range groups {
			subset := make([]need, len(g.needs))
			for i, k := range g.needs {
				subset[i] = needs[k]
			}
			want := everyTree(c, subset)
			if g.cuts > mostCuts {
				if want.found && want.cuts <= mostCuts {
					t.Errorf("crib %d, needs %v: %d cuts planned, exhaustive search found %+v", n, g.needs, g.cuts, want)
				}
				continue
			}
			if !want.found {
				t.Errorf("crib %d, needs %v: %d cuts planned, exhaustive search finds no plan", n, g.needs, g.cuts)
				continue
			}
			if g.cuts != want.cuts || math.Abs(g.err-want.err) > errorSlack {
				t.Errorf("crib %d, needs %v: planned %d cuts, ±%v; exhaustive search %d cuts, ±%v", n, g.needs, g.cuts, g.err, want.cuts, want.err)
			}
			if g.bound != g.cuts {
				t.Errorf("crib %d: a plan of %d cuts with a bound of %d", n, g.cuts, g.bound)
			}
			if len(groups) == 1 && g.runs != want.runs {
				t.Errorf("crib %d: planned %d stretches of work, exhaustive search %d", n, g.runs, want.runs)
			}
		}
		// No fewer masters would do.
		if len(groups) > 1 {
			more++
			if needs[2].family == familyRecess && everyTree(c, needs).found {
				t.Errorf("crib %d: %d masters planned, exhaustive search needs one", n, len(groups))
			}
			if len(groups) == 3 {
				for _, pair := range [][2]int{{0, 1}, {0, 2}, {1, 2}} {
					a, b := needs[pair[0]], needs[pair[1]]
					if a.family == b.family && everyTree(c, []need{a, b}).found {
						t.Errorf("crib %d: three masters planned, but %v need only one", n, pair)
					}
				}
			}
			continue
		}
		one++
		if groups[0].top > sameSize {
			above++
		}
		for i, k := range groups[0].needs {
			if needs[k].options[groups[0].choice[i]].frame >= 0 {
				framed++
			}
		}
	}
	t.Logf("%d cribs: one master %d (above all needs %d, through a hole template %d), more %d", cribs, one, above, framed, more)
	if one < 300 || more < 300 || framed < 30 || above < 30 {
		t.Error("the cribs drawn do not try every kind of plan")
	}
}

// TestBranchAboveEveryNeed: the only tree of four rabbets that makes these three has
// two templates that nobody needs, each the parting of two ways.
//
//	X ──5.9──> r
//	└──3.1──> Y ──1.7──> one, 4.3 ──> other
func TestBranchAboveEveryNeed(t *testing.T) {
	rabbet := shop.Bit{Key: "rabbet", Kind: shop.Rabbet, Diameter: 35, CuttingLength: 13}
	for _, size := range []float64{3.1, 1.7, 4.3, 5.9} {
		rabbet.Bearings = append(rabbet.Bearings, 35-2*size)
	}
	c := NewCrib(&shop.Profile{Crib: []shop.Bit{{Key: "trim", Kind: shop.FlushTrim, Diameter: 6, Bearings: []float64{6}, CuttingLength: 25}, rabbet}})
	depths := []float64{3.1 + 1.7, 3.1 + 4.3, 5.9}
	for _, order := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
		needs := make([]need, 3)
		for i, k := range order {
			needs[i] = need{tolerance: 0.01, options: []option{{depth: depths[k], frame: -1, tools: 1, passes: 1}}}
		}
		g := c.plan(needs)
		want := everyTree(c, needs)
		if len(g) != 1 || g[0].cuts != 4 || want.cuts != 4 || math.Abs(g[0].err-want.err) > errorSlack {
			t.Errorf("order %v: planned %+v, exhaustive search %+v", order, g, want)
		}
	}
}

// TestFourthNeed: a need beyond the third is cut from the nearest template: four on
// one chain of three rabbets take three. On small cribs the plan is never under the
// exhaustive search's, its bound never over.
func TestFourthNeed(t *testing.T) {
	at := func(depth float64) need {
		return need{tolerance: 0.01, options: []option{{depth: depth, frame: -1, tools: 1, passes: 1}}}
	}
	c := NewCrib(shop.Example().Profile)
	g := c.plan([]need{at(0), at(9.5), at(9.5 + 13), at(9.5 + 13 + 11)})
	if len(g) != 1 || g[0].cuts != 3 {
		t.Errorf("a chain of three rabbets: planned %+v", g)
	}
	r := rand.New(rand.NewPCG(3, 5))
	same, tried := 0, 0
	for range 1000 {
		c := NewCrib(smallCrib(r))
		needs := []need{at(0), at(0), at(0), at(0)}
		for i := 1; i < len(needs); i++ {
			needs[i] = at(c.reach[r.IntN(len(c.reach))])
		}
		g := c.plan(needs)
		want := everyTree(c, needs)
		if !want.found || want.cuts > mostCuts || len(g) != 1 {
			continue
		}
		tried++
		if g[0].cuts < want.cuts || g[0].bound > want.cuts {
			t.Errorf("planned %d cuts, bound %d; exhaustive search %d", g[0].cuts, g[0].bound, want.cuts)
		}
		if g[0].cuts == want.cuts {
			same++
		}
	}
	t.Logf("of %d plans with four needs %d have the fewest cuts", tried, same)
	if tried < 100 || same < tried/2 {
		t.Error("too few tried, or too few of them good")
	}
}

// TestStar: where three needs each meet the first, but only by moves that all lie
// above it, the plan that always is stands in: every template in its place.
func TestStar(t *testing.T) {
	c := NewCrib(shop.Example().Profile)
	needs := []need{{options: []option{{frame: -1, tools: 1, passes: 1}}}}
	for _, depth := range []float64{9.5, 25, 40.5, -16.5} {
		needs = append(needs, need{tolerance: 0.01, options: []option{{depth: depth, frame: -1, tools: 1, passes: 1}}})
	}
	s := search{crib: c, needs: needs, trim: c.trimmers(), best: group{cuts: math.MaxInt, bound: c.limit + 1}}
	members := []int{0, 1, 2, 3, 4}
	s.star(members)
	place := func(i int) float64 {
		at := -s.best.top
		for _, step := range s.best.paths[i] {
			at += c.steps[step].size
		}
		return at
	}
	for i := range members {
		if off := place(i) - needs[i].options[0].depth; math.Abs(off) > 0.01 {
			t.Errorf("need %d lies %v off its place", i, off)
		}
	}
	if g := c.plan(needs); g[0].cuts > s.best.cuts || g[0].bound > g[0].cuts {
		t.Errorf("planned %d cuts, bound %d, where the star takes %d", g[0].cuts, g[0].bound, s.best.cuts)
	}
}
