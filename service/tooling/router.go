package tooling

import (
	"math"
	"math/bits"
	"slices"

	"hatchwright/service/outline"
	"hatchwright/service/part"
)

// need is an outline that a mold needs cut. Needs of one family are offsets of
// one another; depth tells how far inside the family's outermost one lies.
type need struct {
	name      string // of its template
	part      part.Part
	board     Board
	hole      bool
	outline   outline.Outline
	family    int
	tolerance float64 // how far its size may be missed
	options   []option
	pieces    int // sheets that are cut to it
	draft     float64
	bevel     bool // no tapered bit: the wall is leaned by hand
	ring      bool // a gutter's ring stands on the block
	corners   bool // no bit is small enough: the inside corners are cut by hand
}

// option is one way to cut a need from a template.
type option struct {
	depth  float64 // of the template inside the family's reference
	follow float64 // how far outside its template the edge comes out: the diameter of the bit that follows it, 0 for a copy
	frame  int     // tool that cuts a hole template first; -1: none
	tools  uint64  // any of these cuts the board
	passes int
	cuts   int     // beside the board's own
	err    float64 // what cutting adds beyond the template's
}

// group is what is cut from one master.
type group struct {
	needs  []int
	choice []int     // option of each
	paths  [][]uint8 // rabbets from the master to the template of each
	miss   []float64 // how far inside its place each template comes out
	top    float64   // how far the master lies outside the first's template
	cuts   int       // rabbets and hole templates
	err    float64   // sum over needs
	runs   int       // stretches of work without a change of bit, in the best order
	bound  int       // no plan from one master has fewer cuts
}

// Objective of the planner, in this order: fewest masters, fewest cuts (rabbets
// and hole templates; the boards' own cuts are the same in every plan), least sum
// of accumulated errors, fewest changes of bit.
//
// Each group is a tree whose root is the master. With two needs it is one move,
// with three two moves joined, in one of three ways:
//
//	X ──a'──> i            X is the master, Y where the pair (j, k) parts.
//	│                      The first need is hit exactly; the others within
//	└──B──> Y ──a──> j     their tolerances.
//	        └──b──> k
//
// Every plan whose moves have at most Crib.limit steps is looked at, by total
// cuts ascending, so no plan has fewer cuts than one found at up to one more than
// that, and none of no more than that is better at all. Needs beyond the third are
// cut from the nearest template there then is; the bound is that of the first
// three.
func (c *Crib) plan(needs []need) []group {
	var groups []group
	placed := make([]bool, len(needs))
	for i := range needs {
		if placed[i] {
			continue
		}
		members := []int{i}
		placed[i] = true
		for j := i + 1; j < len(needs); j++ {
			if !placed[j] && needs[j].family == needs[i].family && c.meets(&needs[i], &needs[j]) {
				members, placed[j] = append(members, j), true
			}
		}
		groups = append(groups, group{needs: members})
	}
	// The largest first: what the others can share bits with is then known.
	slices.SortStableFunc(groups, func(a, b group) int { return len(b.needs) - len(a.needs) })
	s := search{crib: c, needs: needs, trim: c.trimmers()}
	for _, n := range needs {
		if len(n.options) == 1 {
			s.fixed = append(s.fixed, n.options[0].sets(nil)...)
		}
	}
	for k := range groups {
		s.best = group{cuts: math.MaxInt, bound: c.limit + 1}
		switch g := groups[k]; len(g.needs) {
		case 1:
			s.one(g.needs[0])
		case 2:
			s.two(g.needs)
		default:
			s.three(g.needs[:3])
			for _, n := range g.needs[3:] {
				s.attach(n)
			}
		}
		if s.best.cuts == math.MaxInt {
			s.star(groups[k].needs)
		}
		groups[k] = s.best
		for i, n := range s.best.needs {
			if o := needs[n].options; len(o) > 1 {
				s.fixed = o[s.best.choice[i]].sets(s.fixed)
			}
		}
	}
	return groups
}

// meets reports whether some option of b can be reached from a's.
func (c *Crib) meets(a, b *need) bool {
	for i := range a.options {
		for j := range b.options {
			if c.makes(b.options[j].depth-a.options[i].depth, b.tolerance) {
				return true
			}
		}
	}
	return false
}

// sets appends the sets of tools, one of each of which is needed.
func (o option) sets(list []uint64) []uint64 {
	if o.tools != 0 {
		list = append(list, o.tools)
	}
	if o.frame >= 0 {
		list = append(list, 1<<o.frame)
	}
	return list
}

// search looks for the best group.
type search struct {
	crib  *Crib
	needs []need
	trim  uint64   // tools that trim what a rabbet leaves
	fixed []uint64 // sets of tools needed whatever is chosen here
	best  group
	sets  []uint64
}

// errorSlack is how near two accumulated errors are the same, mm: float64 noise
// on sums of a dozen terms is far below it.
const errorSlack = 1e-9

// offer keeps a plan that is better than the best.
func (s *search) offer(cuts int, err float64, members []int, choice [3]int, paths func() [][]uint8, miss [3]float64, top float64) {
	if cuts > s.best.cuts || cuts == s.best.cuts && err > s.best.err+errorSlack {
		return
	}
	rabbets := cuts
	s.sets = append(s.sets[:0], s.fixed...)
	for i, n := range members {
		o := &s.needs[n].options[choice[i]]
		rabbets -= o.cuts
		if len(s.needs[n].options) > 1 {
			s.sets = o.sets(s.sets)
		}
	}
	runs := s.runs(rabbets)
	if cuts == s.best.cuts && err > s.best.err-errorSlack && runs >= s.best.runs {
		return
	}
	s.best = group{
		needs: members, choice: slices.Clone(choice[:len(members)]), paths: paths(), miss: slices.Clone(miss[:len(members)]), top: top,
		cuts: cuts, err: err, runs: runs, bound: min(cuts, s.crib.limit+1),
	}
}

// runs counts the stretches of work between changes of bit: two for each rabbet
// and its trim, and one for each other tool, for whatever uses the trimming bit
// is done in the stretch that a trim ends.
func (s *search) runs(rabbets int) int {
	if rabbets == 0 {
		return bits.OnesCount64(cover(s.sets, 0))
	}
	return bits.OnesCount64(cover(append(s.sets, s.trim), 0)) + 2*rabbets - 1
}

// cover returns the least set of tools that has one of each of the sets, beyond
// those already chosen; lower tools first among equals.
func cover(sets []uint64, chosen uint64) uint64 {
	for i, set := range sets {
		if set&chosen != 0 {
			continue
		}
		best := ^uint64(0)
		for rest := set; rest != 0; rest &= rest - 1 {
			if all := cover(sets[i+1:], chosen|rest&-rest); bits.OnesCount64(all) < bits.OnesCount64(best) {
				best = all
			}
		}
		return best
	}
	return chosen
}

// stepError is what a rabbet and its trim add to an edge's error.
func (c *Crib) stepError() float64 { return 2 * c.practice.passError() }

// edge is the accumulated error of a need's cut edge.
func (s *search) edge(o *option, rabbets int, miss float64) float64 {
	return s.crib.practice.LayoutError + s.crib.stepError()*float64(rabbets) + o.err + math.Abs(miss)
}

// one lays a master out for a single need.
func (s *search) one(i int) {
	for k := range s.needs[i].options {
		o := &s.needs[i].options[k]
		s.offer(o.cuts, s.edge(o, 0, 0), []int{i}, [3]int{k}, func() [][]uint8 { return [][]uint8{nil} }, [3]float64{}, 0)
	}
}

// extra is the most cuts that options take beside rabbets.
func (s *search) extra(members []int) int {
	n := 0
	for _, i := range members {
		most := 0
		for _, o := range s.needs[i].options {
			most = max(most, o.cuts)
		}
		n += most
	}
	return n
}

func (s *search) two(members []int) {
	first, second := &s.needs[members[0]], &s.needs[members[1]]
	for total := 0; total <= s.crib.limit+s.extra(members) && s.best.cuts > total; total++ {
		for h := range first.options {
			for k := range second.options {
				f, o := &first.options[h], &second.options[k]
				n := total - f.cuts - o.cuts
				if n < 0 || n > s.crib.limit {
					continue
				}
				d := o.depth - f.depth
				list := s.crib.between(n, d-second.tolerance, d+second.tolerance)
				for i := range list {
					m := &list[i]
					miss := m.value - d
					err := s.edge(f, int(m.na), 0) + s.edge(o, int(m.nb), miss)
					s.offer(total, err, members, [3]int{h, k}, func() [][]uint8 {
						return [][]uint8{slices.Clone(m.a[:m.na]), slices.Clone(m.b[:m.nb])}
					}, [3]float64{0, miss}, m.up)
				}
			}
		}
	}
}

func (s *search) three(members []int) {
	limit := s.crib.limit
	first, second, third := &s.needs[members[0]], &s.needs[members[1]], &s.needs[members[2]]
	for total := 0; total <= 2*limit+s.extra(members) && s.best.cuts > total; total++ {
		for k0 := range first.options {
			for k1 := range second.options {
				for k2 := range third.options {
					choice := [3]int{k0, k1, k2}
					steps := total - first.options[k0].cuts - second.options[k1].cuts - third.options[k2].cuts
					for n := max(0, steps-limit); n <= min(steps, limit); n++ {
						s.withFirst(total, n, steps-n, members, choice, 1, 2)
						s.withFirst(total, n, steps-n, members, choice, 2, 1)
						s.apart(total, n, steps-n, members, choice)
					}
				}
			}
		}
	}
}

// attach adds a need to the plan at hand: cut from any template in it, or from a
// new master above the old one, whichever takes the fewest cuts.
func (s *search) attach(i int) {
	if s.best.cuts == math.MaxInt {
		return
	}
	g, n := &s.best, &s.needs[i]
	base := s.needs[g.needs[0]].options[g.choice[0]].depth
	found := false
	var prefix []uint8
	var with move
	var choice int
	var miss float64
	cuts, least := math.MaxInt, 0.0
	try := func(k int, at []uint8, from float64, above bool) {
		o := &n.options[k]
		d := o.depth - base - from
		for steps := 0; steps <= s.crib.limit && steps+o.cuts <= cuts; steps++ {
			list := s.crib.between(steps, d-n.tolerance, d+n.tolerance)
			for j := range list {
				m := &list[j]
				if m.na > 0 && !above {
					continue
				}
				err := s.edge(o, len(at)+int(m.nb), m.value-d) + float64(int(m.na)*len(g.needs))*s.crib.stepError()
				if steps+o.cuts < cuts || err < least-errorSlack {
					found, prefix, with, choice, miss, cuts, least = true, at, *m, k, m.value-d, steps+o.cuts, err
				}
			}
		}
	}
	for k := range n.options {
		try(k, nil, -g.top, true)
		for _, p := range g.paths {
			from := -g.top
			for j, step := range p {
				from += s.crib.steps[step].size
				try(k, p[:j+1], from, false)
			}
		}
	}
	if !found {
		s.best.cuts = math.MaxInt // the star finds the way
		return
	}
	up := with.a[:with.na]
	if len(up) > 0 {
		for j := range g.paths {
			g.paths[j] = path(up, g.paths[j])
		}
		g.top += with.up
	}
	g.needs = append(g.needs[:len(g.needs):len(g.needs)], i)
	g.choice, g.miss = append(g.choice, choice), append(g.miss, miss)
	g.paths = append(g.paths, path(prefix, with.b[:with.nb]))
	g.cuts += cuts
	g.err += least
	g.runs = s.runsOf(g)
}

// runsOf counts the stretches of work of a whole group.
func (s *search) runsOf(g *group) int {
	s.sets = append(s.sets[:0], s.fixed...)
	rabbets := g.cuts
	for i, n := range g.needs {
		o := &s.needs[n].options[g.choice[i]]
		rabbets -= o.cuts
		if len(s.needs[n].options) > 1 {
			s.sets = o.sets(s.sets)
		}
	}
	return s.runs(rabbets)
}

func path(parts ...[]uint8) []uint8 {
	var out []uint8
	for _, p := range parts {
		out = append(out, p...)
	}
	return out
}

// withFirst looks at plans in which the first need and need q part last and need
// r is cut from further up; places count down from the first's template.
func (s *search) withFirst(total, nu, nw int, members []int, choice [3]int, q, r int) {
	var o [3]*option
	for i, n := range members {
		o[i] = &s.needs[n].options[choice[i]]
	}
	pq, pr := o[q].depth-o[0].depth, o[r].depth-o[0].depth
	tq, tr := s.needs[members[q]].tolerance, s.needs[members[r]].tolerance
	us := s.crib.between(nu, pq-tq, pq+tq)
	for i := range us {
		u := &us[i]
		ws := s.crib.between(nw, pr+u.up-tr, pr+u.up+tr)
		for j := range ws {
			w := &ws[j]
			var miss [3]float64
			miss[q], miss[r] = u.value-pq, w.value-u.up-pr
			err := s.edge(o[0], int(w.na+u.na), 0) + s.edge(o[q], int(w.na+u.nb), miss[q]) + s.edge(o[r], int(w.nb), miss[r])
			s.offer(total, err, members, choice, func() [][]uint8 {
				out := make([][]uint8, 3)
				out[0] = path(w.a[:w.na], u.a[:u.na])
				out[q] = path(w.a[:w.na], u.b[:u.nb])
				out[r] = path(w.b[:w.nb])
				return out
			}, miss, u.up+w.up)
		}
	}
}

// apart looks at plans in which the second and third need part last and the first
// is cut from further up.
func (s *search) apart(total, nu, nw int, members []int, choice [3]int) {
	var o [3]*option
	for i, n := range members {
		o[i] = &s.needs[n].options[choice[i]]
	}
	p1, p2 := o[1].depth-o[0].depth, o[2].depth-o[0].depth
	t1, t2 := s.needs[members[1]].tolerance, s.needs[members[2]].tolerance
	us := s.crib.between(nu, p2-p1-t1-t2, p2-p1+t1+t2)
	for i := range us {
		u := &us[i]
		lo := math.Max(p1-t1-u.up, p2-t2-u.up-u.value)
		hi := math.Min(p1+t1-u.up, p2+t2-u.up-u.value)
		if lo > hi+sameSize {
			continue
		}
		ws := s.crib.between(nw, lo, hi)
		for j := range ws {
			w := &ws[j]
			miss := [3]float64{0, w.value + u.up - p1, w.value + u.up + u.value - p2}
			err := s.edge(o[0], int(w.na), 0) + s.edge(o[1], int(w.nb+u.na), miss[1]) + s.edge(o[2], int(w.nb+u.nb), miss[2])
			s.offer(total, err, members, choice, func() [][]uint8 {
				return [][]uint8{path(w.a[:w.na]), path(w.b[:w.nb], u.a[:u.na]), path(w.b[:w.nb], u.b[:u.nb])}
			}, miss, w.up)
		}
	}
}

// star cuts every need on its own from a master above all of them: the plan that
// always is where each meets the first.
func (s *search) star(members []int) {
	g := group{needs: members, choice: make([]int, len(members)), miss: make([]float64, len(members)), paths: make([][]uint8, len(members))}
	pairs := make([]move, len(members))
	first := &s.needs[members[0]]
	for i := 1; i < len(members); i++ {
		n := &s.needs[members[i]]
		least := math.MaxInt
		for k, o := range n.options {
			d := o.depth - first.options[0].depth
			for steps := 0; steps <= s.crib.limit && steps+o.cuts < least; steps++ {
				list := s.crib.between(steps, d-n.tolerance, d+n.tolerance)
				if len(list) > 0 {
					least, pairs[i], g.choice[i], g.miss[i] = steps+o.cuts, list[0], k, list[0].value-d
				}
			}
		}
	}
	for i := range members {
		for j := range pairs {
			if j != i {
				g.paths[i] = append(g.paths[i], pairs[j].a[:pairs[j].na]...)
			}
		}
		if i > 0 {
			g.paths[i] = append(g.paths[i], pairs[i].b[:pairs[i].nb]...)
			g.top += pairs[i].up
		}
	}
	g.cuts = len(newTree(g.paths)) - 1
	for i, n := range members {
		o := &s.needs[n].options[g.choice[i]]
		g.err += s.edge(o, len(g.paths[i]), g.miss[i])
		g.cuts += o.cuts
	}
	// Nothing was found among moves of at most limit steps, or what was found for
	// the first three is the bound.
	g.bound = min(g.cuts, s.best.bound)
	g.runs = s.runsOf(&g)
	s.best = g
}

// node is a template in the tree that starts with the master.
type node struct {
	parent int // -1: the master
	step   uint8
}

// newTree merges paths that begin alike.
func newTree(paths [][]uint8) []node {
	tree := []node{{parent: -1}}
	for _, p := range paths {
		at := 0
		for _, step := range p {
			at, tree = down(tree, at, step)
		}
	}
	return tree
}

func down(tree []node, at int, step uint8) (int, []node) {
	for i := 1; i < len(tree); i++ {
		if tree[i].parent == at && tree[i].step == step {
			return i, tree
		}
	}
	return len(tree), append(tree, node{at, step})
}

// locate returns the node at the end of a path.
func locate(tree []node, p []uint8) int {
	at := 0
	for _, step := range p {
		at, _ = down(tree, at, step)
	}
	return at
}

// trimmers are the straight tools that cut a template's thickness in the fewest
// passes.
func (c *Crib) trimmers() uint64 {
	set, _ := c.fewest(c.flush, 0, c.practice.TemplateThickness, math.Inf(1))
	return set
}

// fewest returns the tools that cut a wall in the fewest passes, of those no
// wider than widest, and how many; none: the empty set and one pass by hand.
// first is the number of the list's first.
func (c *Crib) fewest(list []tool, first int, height, widest float64) (set uint64, passes int) {
	passes = 1
	for i, t := range list {
		if first+i >= mostTools || t.diameter > widest+sameSize {
			continue
		}
		switch p := t.passes(height); {
		case p < passes || set == 0:
			set, passes = 1<<(first+i), p
		case p == passes:
			set |= 1 << (first + i)
		}
	}
	return set, passes
}

// tool returns a tool by its number: straight ones first.
func (c *Crib) tool(i int) tool {
	if i < len(c.flush) {
		return c.flush[i]
	}
	return c.tapered[i-len(c.flush)]
}
