package laminate

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"hatchwright/service/plate"
)

// ErrSpace marks a space that cannot be searched; the message names what is wrong.
var ErrSpace = errors.New("laminate: space refused")

// Figures of the space.
const (
	// DefaultMaxPlies in a stack.
	DefaultMaxPlies = 12
	// DefaultBarrierMass is the heaviest mat that keeps the pattern of the plies from printing through the
	// gelcoat, kg/m². Common practice, no source (1 oz/ft² mat and lighter).
	DefaultBarrierMass = 0.31
	// DefaultMaxNodes of a search. A count, so that the answer does not depend on the machine.
	DefaultMaxNodes = 5_000_000
	maxPlies        = 40
	maxOptions      = 64
)

// Option is a stocked ply and what a square meter of it costs, laid.
type Option struct {
	Ply  Ply
	Cost float64 // of any one currency, per m²
}

// CoreOption is a stocked core and what a square meter of it costs.
type CoreOption struct {
	Core Core
	Cost float64
}

// Prefer is what a choice makes least.
type Prefer string

// Preferences.
const (
	LeastCost Prefer = "cost"
	LeastMass Prefer = "mass"
)

// Space is the set of stacks that Choose searches.
//
//	solid     barrier, then any plies, MaxPlies in all
//	sandwich  barrier, plies S, core, the same S mirrored, MaxPlies in all
//
// The barrier is a mat of at most BarrierMass against the gelcoat. How many of each ply there are is free; their
// order is the shop's: see Arrange.
type Space struct {
	Gelcoat *Gelcoat
	Plies   []Option
	Cores   []CoreOption
	// NoSolid leaves out the solid stacks.
	NoSolid bool
	// MaxPlies counts the barrier and both skins; 0 stands for DefaultMaxPlies.
	MaxPlies int
	// BarrierMass, kg/m²; 0 stands for DefaultBarrierMass.
	BarrierMass float64
	// MinThickness of a solid stack, mm.
	MinThickness float64
	// MaxThickness of any stack, core and all but without gelcoat, mm: the room there is; 0: any.
	MaxThickness float64
	// MinOuterGlass and MinInnerGlass of the skins of a sandwich, kg/m².
	MinOuterGlass, MinInnerGlass float64
	// WovenApart leaves out stacks where woven roving lies on woven roving with no mat between.
	WovenApart bool
	Rules      Rules
	// MaxNodes of the search; 0 stands for DefaultMaxNodes.
	MaxNodes int
}

// Status is how a search ended.
type Status string

// Ends of a search.
const (
	// Optimal: no stack of the space that passes is less.
	Optimal Status = "optimal"
	// Infeasible: no stack of the space passes.
	Infeasible Status = "infeasible"
	// BudgetReached: MaxNodes were used up; the stack, if any, passes and Bound is proved.
	BudgetReached Status = "budget reached"
)

// Choice is the answer of Choose.
type Choice struct {
	Status Status
	// Found tells whether Stack holds a stack that passes.
	Found bool
	Stack Stack
	// Cost and Mass of a square meter; Mass with the gelcoat film, Cost without it.
	Cost, Mass float64
	// Bound is proved: no stack of the space that passes has less cost (or mass without gelcoat) than this.
	Bound float64
	// Results of the stack, one per case.
	Results []Result
	// Stacks is how many the space holds, whatever rules and room then leave of them; Nodes how many were looked at.
	Stacks float64
	Nodes  int
	// Barriers, Plies and Cores count the options.
	Barriers, Plies, Cores int
}

// layerFast is a layer as the search needs it.
type layerFast struct {
	t, e, tension, compression float64 // allowables
}

type item struct {
	layers       []layerFast // from the mold side, also in a mirrored skin: only the order of the plies turns
	t, et        float64
	value, glass float64
	mat, woven   bool
	index        int // into Space.Plies
}

type coreFast struct {
	t, g, td, value, wrinkle float64 // wrinkle: Ec G
	index                    int
}

type caseFast struct {
	sag, hog, shear, deflection, sum, allowed float64
	strength                                  bool
}

type search struct {
	room     float64 // MaxThickness with its slack, or +Inf
	space    *Space
	items    []item // in catalog order
	cases    []caseFast
	maxPlies int
	maxNodes int
	nodes    int
	spent    bool

	// needs of the bound
	needEI, needSag, needShear float64
	maxE, minE, maxStrain      float64
	minET                      float64
	best                       float64
	bestCounts                 []int
	bestBarrier, bestCore      int
	found                      bool
	// the branch being searched
	barrier        *item
	core           *coreFast
	order          []int // items by worth
	restT, restEA  []float64
	spacer         []float64 // cheapest ply that is not woven, from order[k] on
	stepT, stepEA  []float64
	counts         []int
	layers         []layerFast
	seqMat, seqOth []int
	sequence       []int
}

// Choose finds the stack of least cost or mass in the space whose every utilization is at most 1, and which keeps
// the minimum skins, by branch and bound over how many of each ply there are.
//
// A branch is cut when even the best that its remaining objective R and n plies could buy is not enough. With
// r_T and r_EA the most thickness and stiffness per objective of the plies still open,
//
//	T <= T0 + min(R r_T, n t_max),  EA <= EA0 + min(R r_EA, n ea_max)
//	solid:    EI <= Emax T³/12 - (Emax - Emin) c³/12, c = (Emax T - EA)/(Emax - Emin)   stiffest plies outside
//	sandwich: EI <= EA T²/4,  S <= G (tc + skins/2)²/tc
//	          tau = V/(d + (EIo + EIi)(1/EAo + 1/EAi)/d) with tc <= d <= T between the middles of the skins, their
//	          own EI <= EA t²/4, so tau >= V/max(tc + K/tc, T + K/T), K = (to² (1 + EAo/EAi) + 2 ti²)/4
//	strength: some face lies T/2 or more from the neutral axis: M T/(2 EI) <= largest allowed strain
//
//	room:     T, with the core, <= MaxThickness; every ply adds to it
//	woven:    W pieces of woven roving apart need W - 1 other plies between them, which cost at least the
//	          cheapest of those still open
//
// Each is necessary for a stack to pass and grows with T and EA, so nothing that passes is cut. Errors: ErrSpace,
// those of the materials, of the panel and of the cases. No stack that passes is a status, not an error.
func Choose(space Space, panel Panel, cases []Case, prefer Prefer) (Choice, error) {
	s, err := newSearch(&space, panel, cases, prefer)
	if err != nil {
		return Choice{}, err
	}
	cores, err := s.coresFast(prefer)
	if err != nil {
		return Choice{}, err
	}
	out := Choice{Plies: len(s.items), Cores: len(cores)}
	var barriers []int
	most := orDefault(space.BarrierMass, DefaultBarrierMass)
	for i, it := range s.items {
		r := space.Plies[it.index].Ply.Reinforcement
		if r.Kind == Mat && r.GlassMass() <= most {
			barriers = append(barriers, i)
		}
	}
	out.Barriers = len(barriers)
	n := float64(len(s.items))
	if !space.NoSolid {
		out.Stacks += float64(len(barriers)) * multisets(n, 0, s.maxPlies-1)
	}
	out.Stacks += float64(len(barriers)*len(cores)) * multisets(n, 1, (s.maxPlies-1)/2)

	type branch struct {
		barrier int
		core    *coreFast
	}
	var branches []branch
	for _, b := range barriers {
		if !space.NoSolid {
			branches = append(branches, branch{b, nil})
		}
		for i := range cores {
			branches = append(branches, branch{b, &cores[i]})
		}
	}
	// a stack of one kind of ply in every branch makes the first incumbent
	for _, b := range branches {
		s.enter(b.barrier, b.core)
		s.single()
	}
	for _, b := range branches {
		s.enter(b.barrier, b.core)
		value := s.rootValue()
		if s.improves(value) && s.total(s.rootT()) <= s.room && s.reachable(0, value, s.rootT(), s.rootEA(), s.rootPlies()) {
			s.descend(0, value, s.rootT(), s.rootEA(), s.rootPlies(), -1)
		}
	}
	out.Nodes = s.nodes
	switch {
	case s.spent:
		out.Status = BudgetReached
		out.Bound = math.Inf(1)
		for _, b := range branches {
			s.enter(b.barrier, b.core)
			out.Bound = math.Min(out.Bound, s.rootBound())
		}
		if s.found {
			out.Bound = math.Min(out.Bound, s.best)
		}
	case s.found:
		out.Status, out.Bound = Optimal, s.best
	default:
		out.Status, out.Bound = Infeasible, math.Inf(1)
	}
	if !s.found {
		return out, nil
	}
	out.Found = true
	out.Stack, out.Cost = s.build()
	out.Mass = out.Stack.MassPerArea()
	out.Results, err = Check(out.Stack, panel, cases, space.Rules)
	if err != nil {
		return Choice{}, fmt.Errorf("check of the chosen stack: %w", err)
	}
	return out, nil
}

// roomSlack keeps rounding from leaving out a stack that just goes in, mm: far below what can be measured.
const roomSlack = 1e-9

// multisets counts the multisets of lo to hi out of n kinds.
func multisets(n float64, lo, hi int) float64 {
	total, c := 0.0, 1.0
	for k := 0; k <= hi; k++ {
		if k > 0 {
			c *= (n + float64(k) - 1) / float64(k)
		}
		if k >= lo {
			total += c
		}
	}
	return math.Round(total)
}

func newSearch(space *Space, panel Panel, cases []Case, prefer Prefer) (*search, error) {
	if prefer != LeastCost && prefer != LeastMass {
		return nil, fmt.Errorf("%w: preference %q: give cost or mass", ErrSpace, string(prefer))
	}
	if len(space.Plies) == 0 || len(space.Plies) > maxOptions || len(space.Cores) > maxOptions {
		return nil, fmt.Errorf("%w: %d plies and %d cores: give 1 to %d plies and at most %d cores", ErrSpace, len(space.Plies), len(space.Cores), maxOptions, maxOptions)
	}
	s := &search{space: space, maxPlies: space.MaxPlies, maxNodes: space.MaxNodes, best: math.Inf(1)}
	if s.maxPlies == 0 {
		s.maxPlies = DefaultMaxPlies
	}
	if s.maxNodes == 0 {
		s.maxNodes = DefaultMaxNodes
	}
	if s.maxPlies < 1 || s.maxPlies > maxPlies || s.maxNodes < 1 {
		return nil, fmt.Errorf("%w: %d plies at most and %d nodes: give 1 to %d plies and at least 1 node", ErrSpace, s.maxPlies, s.maxNodes, maxPlies)
	}
	for _, v := range []float64{space.BarrierMass, space.MinThickness, space.MaxThickness, space.MinOuterGlass, space.MinInnerGlass} {
		if !(v >= 0) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("%w: limit %g must be 0 or more", ErrSpace, v)
		}
	}
	s.room = math.Inf(1)
	if space.MaxThickness > 0 {
		s.room = space.MaxThickness + roomSlack
	}
	if err := space.Rules.Validate(); err != nil {
		return nil, err
	}
	if err := panel.Validate(); err != nil {
		return nil, fmt.Errorf("choice of a stack: %w", err)
	}
	f, share := space.Rules.factor(), space.Rules.allowable()
	s.minE, s.minET = math.Inf(1), math.Inf(1)
	for i, o := range space.Plies {
		if err := o.Ply.Validate(); err != nil {
			return nil, fmt.Errorf("ply option %d: %w", i, err)
		}
		if !(o.Cost >= 0) || math.IsInf(o.Cost, 0) {
			return nil, fmt.Errorf("%w: ply option %q costs %g: it must be 0 or more", ErrSpace, o.Ply.Reinforcement.Key, o.Cost)
		}
		it := item{index: i, glass: o.Ply.GlassMass(), value: o.Cost, mat: o.Ply.Reinforcement.Kind == Mat, woven: o.Ply.Reinforcement.Kind == Woven}
		if prefer == LeastMass {
			it.value = o.Ply.GlassMass() + o.Ply.ResinMass()
		}
		for _, c := range o.Ply.Components() {
			st := c.Strength().Times(f)
			l := layerFast{t: c.Thickness(), e: st.Modulus, tension: share * st.Tensile, compression: share * st.Compressive}
			it.layers = append(it.layers, l)
			it.t += l.t
			it.et += l.t * l.e
			s.maxE = math.Max(s.maxE, l.e)
			s.minE = math.Min(s.minE, l.e)
			s.maxStrain = math.Max(s.maxStrain, math.Max(l.tension, l.compression)/l.e)
		}
		s.minET = math.Min(s.minET, it.et)
		s.items = append(s.items, it)
	}
	peaks, err := peaksOf(panel, cases)
	if err != nil {
		return nil, err
	}
	for i, c := range cases {
		s.addCase(c, peaks[i], panel.Short())
	}
	s.counts = make([]int, len(s.items))
	s.bestCounts = make([]int, len(s.items))
	return s, nil
}

func (s *search) addCase(c Case, k plate.Peak, short float64) {
	f := caseFast{strength: c.Strength, sag: k.Sagging, hog: k.Hogging, shear: k.Shear, deflection: k.Deflection * (1 - Poisson*Poisson), sum: k.MomentSum, allowed: math.Inf(1)}
	if c.Limit > 0 {
		f.allowed = c.Limit * short
		s.needEI = math.Max(s.needEI, f.deflection/f.allowed)
	}
	if c.Strength {
		s.needSag = math.Max(s.needSag, math.Max(k.Sagging, k.Hogging))
		s.needShear = math.Max(s.needShear, k.Shear)
	}
	s.cases = append(s.cases, f)
}

func (s *search) coresFast(prefer Prefer) ([]coreFast, error) {
	var out []coreFast
	for i, o := range s.space.Cores {
		if err := o.Core.Validate(); err != nil {
			return nil, fmt.Errorf("core option %d: %w", i, err)
		}
		if !(o.Cost >= 0) || math.IsInf(o.Cost, 0) {
			return nil, fmt.Errorf("%w: core option %q costs %g: it must be 0 or more", ErrSpace, o.Core.Key, o.Cost)
		}
		p, err := o.Core.Properties()
		if err != nil {
			return nil, err
		}
		c := coreFast{t: o.Core.Thickness, g: p.ShearModulus, td: p.DesignShear(), value: o.Cost, wrinkle: p.Modulus * p.ShearModulus, index: i}
		if prefer == LeastMass {
			c.value = o.Core.MassPerArea()
		}
		out = append(out, c)
	}
	return out, nil
}

// enter prepares the branch of one barrier and core: the plies sorted by what they give for their objective.
func (s *search) enter(barrier int, core *coreFast) {
	s.barrier, s.core = &s.items[barrier], core
	for i := range s.counts {
		s.counts[i] = 0
	}
	s.order = s.order[:0]
	for i := range s.items {
		s.order = append(s.order, i)
	}
	worth := func(i int) float64 {
		it := &s.items[i]
		if core != nil {
			return it.value / it.et
		}
		return it.value / math.Cbrt(it.t*it.t*it.et) // thickness with the cube root of the modulus
	}
	sort.SliceStable(s.order, func(a, b int) bool { return worth(s.order[a]) < worth(s.order[b]) })
	n := len(s.order)
	s.restT, s.restEA = resize(s.restT, n+1), resize(s.restEA, n+1)
	s.stepT, s.stepEA = resize(s.stepT, n+1), resize(s.stepEA, n+1)
	s.spacer = resize(s.spacer, n+1)
	s.spacer[n] = math.Inf(1)
	for k := n - 1; k >= 0; k-- {
		it := &s.items[s.order[k]]
		s.restT[k] = math.Max(s.restT[k+1], it.t/it.value) // +Inf for a free ply
		s.restEA[k] = math.Max(s.restEA[k+1], it.et/it.value)
		s.stepT[k] = math.Max(s.stepT[k+1], it.t)
		s.spacer[k] = s.spacer[k+1]
		if !it.woven {
			s.spacer[k] = math.Min(s.spacer[k], it.value)
		}
		s.stepEA[k] = math.Max(s.stepEA[k+1], it.et)
	}
}

func resize(v []float64, n int) []float64 {
	if cap(v) < n {
		return make([]float64, n)
	}
	v = v[:n]
	v[n-1] = 0
	return v
}

func (s *search) rootValue() float64 {
	if s.core != nil {
		return s.barrier.value + s.core.value
	}
	return s.barrier.value
}
func (s *search) rootT() float64  { return s.barrier.t }
func (s *search) rootEA() float64 { return s.barrier.et }

// total is the thickness of a stack whose plies are t thick.
func (s *search) total(t float64) float64 {
	if s.core != nil {
		return t + s.core.t
	}
	return t
}

// rootPlies is how many more plies may be added, a mirrored pair counting once.
func (s *search) rootPlies() int {
	if s.core != nil {
		return (s.maxPlies - 1) / 2
	}
	return s.maxPlies - 1
}

// each is how often a chosen ply lies in the stack.
func (s *search) each() float64 {
	if s.core != nil {
		return 2
	}
	return 1
}

// improveShare keeps rounding from taking an equal stack for a better one.
const improveShare = 1e-12

func (s *search) improves(value float64) bool {
	return value < s.best*(1-improveShare) || math.IsInf(s.best, 1)
}

// single tries the stacks of one kind of ply.
func (s *search) single() {
	for k := range s.order {
		i := s.order[k]
		value, t := s.rootValue(), s.rootT()
		for n := 1; n <= s.rootPlies(); n++ {
			value += s.each() * s.items[i].value
			t += s.each() * s.items[i].t
			if !s.improves(value) || s.total(t) > s.room {
				break
			}
			s.counts[i] = n
			s.nodes++
			if s.feasible() {
				s.keep(value)
				break
			}
		}
		s.counts[i] = 0
	}
}

func (s *search) keep(value float64) {
	s.best, s.found = value, true
	copy(s.bestCounts, s.counts)
	s.bestBarrier, s.bestCore = s.barrier.index, -1
	if s.core != nil {
		s.bestCore = s.core.index
	}
}

// descend looks at the stack of the current counts and at those that add plies from order[k] on. short is how many
// plies are missing to keep the woven ones apart: W - 1 less the others.
func (s *search) descend(k int, value, t, ea float64, left, short int) {
	if s.nodes >= s.maxNodes {
		s.spent = true
		return
	}
	s.nodes++
	if s.enough(t, ea, 0, 0) && s.feasible() {
		s.keep(value)
		return
	}
	if left == 0 {
		return
	}
	m := s.each()
	for ; k < len(s.order); k++ {
		if !s.reachable(k, value, t, ea, left) {
			return
		}
		i := s.order[k]
		it := &s.items[i]
		v := value + m*it.value
		if !s.improves(v) || s.total(t+m*it.t) > s.room {
			continue
		}
		lack := short - 1
		if it.woven {
			lack = short + 1
		}
		if s.space.WovenApart && lack > 0 && (lack > left-1 || !s.improves(v+m*float64(lack)*s.spacer[k])) {
			continue
		}
		s.counts[i]++
		s.descend(k, v, t+m*it.t, ea+m*it.et, left-1, lack)
		s.counts[i]--
		if s.spent {
			return
		}
	}
}

// reachable tells whether the plies from order[k] on could still make the branch pass under the incumbent.
func (s *search) reachable(k int, value, t, ea float64, left int) bool {
	m := s.each()
	n := float64(left) * m
	dt, dea := math.Min(n*s.stepT[k], s.room-s.total(t)), n*s.stepEA[k]
	if rest := s.best - value; !math.IsInf(rest, 1) {
		if v := rest * s.restT[k]; v < dt {
			dt = v
		}
		if v := rest * s.restEA[k]; v < dea {
			dea = v
		}
	}
	return s.enough(t, ea, dt, dea)
}

// boundSlack keeps rounding in the bound from cutting a stack that just passes.
const boundSlack = 1e-9

// enough tells whether a stack of thickness t and stiffness ea of its plies, with dt and dea more, meets the
// necessary conditions named at Choose.
func (s *search) enough(t, ea, dt, dea float64) bool {
	t0, ea0 := t, ea
	t, ea = (t+dt)*(1+boundSlack), (ea+dea)*(1+boundSlack)
	if s.core != nil {
		c := s.core
		h := t + c.t
		if h*c.td < s.needShear { // else the bound below, never smaller than h, holds
			b := s.barrier
			ti := (t - b.t) / 2
			to := b.t + ti
			ratio := 1 + b.et/math.Max((ea0-b.et)/2, s.minET)
			k := (to*to*(1+ratio) + 2*ti*ti) / 4
			if math.Max(c.t+k/c.t, h+k/h)*c.td < s.needShear {
				return false
			}
		}
		ei := ea * h * h / 4
		if ea*h*s.maxStrain < 2*s.needSag {
			return false
		}
		ts := c.t + t/2
		stiff := c.g * ts * ts / c.t
		for i := range s.cases {
			f := &s.cases[i]
			if f.deflection/ei+f.sum/stiff > f.allowed {
				return false
			}
		}
		return true
	}
	if t < s.space.MinThickness {
		return false
	}
	if t*t*s.maxE*s.maxStrain < 6*s.needSag {
		return false
	}
	ei := s.maxE * t * t * t / 12
	if full := s.maxE * t; ea < full && s.maxE > s.minE {
		c := math.Min((full-ea)/(s.maxE-s.minE), t)
		ei -= (s.maxE - s.minE) * c * c * c / 12
	}
	return ei >= s.needEI && ei*2*s.maxStrain >= s.needSag*t0*(1-boundSlack)
}

// rootBound is the least objective that the bound alone cannot exclude for the branch, by bisection.
func (s *search) rootBound() float64 {
	root := s.rootValue()
	saved := s.best
	defer func() { s.best = saved }()
	s.best = math.Inf(1)
	if !s.reachable(0, root, s.rootT(), s.rootEA(), s.rootPlies()) {
		return math.Inf(1)
	}
	lo, hi := root, root
	for i := range s.items {
		hi = math.Max(hi, root+s.each()*float64(s.rootPlies())*s.items[i].value)
	}
	const halvings = 60
	for i := 0; i < halvings; i++ {
		mid := (lo + hi) / 2
		s.best = mid
		if s.reachable(0, root, s.rootT(), s.rootEA(), s.rootPlies()) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return lo
}

// arrange puts the counted plies into the shop's order, see Space.Arrange; it returns indexes of items.
func (s *search) arrange() []int {
	s.seqMat, s.seqOth, s.sequence = s.seqMat[:0], s.seqOth[:0], s.sequence[:0]
	for i := range s.items {
		for n := 0; n < s.counts[i]; n++ {
			if s.items[i].mat {
				s.seqMat = append(s.seqMat, i)
			} else {
				s.seqOth = append(s.seqOth, i)
			}
		}
	}
	a, b := s.seqOth, s.seqMat
	for len(a) > 0 || len(b) > 0 {
		if len(a) > 0 {
			s.sequence = append(s.sequence, a[0])
			a = a[1:]
		}
		if len(b) > 0 {
			s.sequence = append(s.sequence, b[0])
			b = b[1:]
		}
	}
	return s.sequence
}

// feasible is Check for the current counts, without its report.
func (s *search) feasible() bool {
	seq := s.arrange()
	if s.space.WovenApart {
		for i := 1; i < len(seq); i++ {
			if s.items[seq[i]].woven && s.items[seq[i-1]].woven {
				return false
			}
		}
	}
	s.layers = append(s.layers[:0], s.barrier.layers...)
	glass := 0.0
	for _, i := range seq {
		s.layers = append(s.layers, s.items[i].layers...)
		glass += s.items[i].glass
	}
	outer := len(s.layers)
	if s.core != nil {
		if len(seq) == 0 || glass < s.space.MinInnerGlass || glass+s.barrier.glass < s.space.MinOuterGlass {
			return false
		}
		s.layers = append(s.layers, layerFast{t: s.core.t})
		for k := len(seq) - 1; k >= 0; k-- {
			s.layers = append(s.layers, s.items[seq[k]].layers...)
		}
	}
	var z, ea, first float64
	for i := range s.layers {
		l := &s.layers[i]
		et := l.e * l.t
		ea += et
		first += et * (z + l.t/2)
		z += l.t
	}
	if s.core == nil && z < s.space.MinThickness {
		return false
	}
	zn := first / ea
	outerWrinkling, innerWrinkling := math.Inf(1), math.Inf(1)
	ts := 0.0
	if s.core != nil {
		o, to := meanModulus(s.layers[:outer])
		i, ti := meanModulus(s.layers[outer+1:])
		outerWrinkling, innerWrinkling = 0.3*math.Cbrt(o*s.core.wrinkle), 0.3*math.Cbrt(i*s.core.wrinkle)
		ts = s.core.t + (to+ti)/2
	}
	var ei, sag, hog, moment float64
	z = 0
	for i := range s.layers {
		l := &s.layers[i]
		if l.e == 0 {
			z += l.t
			continue
		}
		wrinkling := outerWrinkling
		if i > outer {
			wrinkling = innerWrinkling
		}
		compression := math.Min(l.compression, wrinkling)
		top, bottom := z-zn, z+l.t-zn
		mid := (top + bottom) / 2
		ei += l.e * (l.t*l.t*l.t/12 + l.t*mid*mid)
		if bottom > 0 {
			sag = math.Max(sag, l.e*bottom/l.tension)
			hog = math.Max(hog, l.e*bottom/compression)
		}
		if top < 0 {
			sag = math.Max(sag, -l.e*top/compression)
			hog = math.Max(hog, -l.e*top/l.tension)
		}
		if i < outer {
			moment -= l.e * l.t * mid
		}
		z += l.t
	}
	for i := range s.cases {
		f := &s.cases[i]
		y := f.deflection / ei
		if s.core != nil {
			y += f.sum * s.core.t / (s.core.g * ts * ts)
		}
		if y > f.allowed {
			return false
		}
		if !f.strength {
			continue
		}
		if f.sag*sag > ei || f.hog*hog > ei {
			return false
		}
		if s.core != nil && f.shear*moment > ei*s.core.td {
			return false
		}
	}
	return true
}

func meanModulus(layers []layerFast) (e, t float64) {
	for i := range layers {
		e += layers[i].e * layers[i].t
		t += layers[i].t
	}
	return e / t, t
}

// build makes the stack of the best counts.
func (s *search) build() (Stack, float64) {
	copy(s.counts, s.bestCounts)
	seq := s.arrange()
	st := Stack{Gelcoat: s.space.Gelcoat, Outer: []Ply{s.space.Plies[s.bestBarrier].Ply}}
	cost := s.space.Plies[s.bestBarrier].Cost
	for _, i := range seq {
		st.Outer = append(st.Outer, s.space.Plies[i].Ply)
		cost += s.space.Plies[i].Cost
	}
	if s.bestCore >= 0 {
		core := s.space.Cores[s.bestCore]
		c := core.Core
		st.Core = &c
		cost += core.Cost
		for k := len(seq) - 1; k >= 0; k-- {
			st.Inner = append(st.Inner, s.space.Plies[seq[k]].Ply)
			cost += s.space.Plies[seq[k]].Cost
		}
	}
	return st, cost
}

// Arrange makes the stack of the space (the mat of a stitched fabric lies toward the mold in both skins)  that has the barrier, counts[i] of Plies[i] in the outer skin, and, with a
// core (an index into Cores; -1 for a solid stack), the same mirrored in the inner skin. Behind the barrier a fabric
// and a mat take turns, fabric first, each in the order of Plies, until one kind runs out. Errors: ErrSpace.
func (s Space) Arrange(barrier, core int, counts []int) (Stack, error) {
	if barrier < 0 || barrier >= len(s.Plies) || core < -1 || core >= len(s.Cores) || len(counts) != len(s.Plies) {
		return Stack{}, fmt.Errorf("%w: barrier %d, core %d and %d counts for %d plies and %d cores", ErrSpace, barrier, core, len(counts), len(s.Plies), len(s.Cores))
	}
	q := &search{space: &s, bestBarrier: barrier, bestCore: core, counts: make([]int, len(counts)), bestCounts: make([]int, len(counts))}
	for i, o := range s.Plies {
		if counts[i] < 0 || counts[i] > maxPlies {
			return Stack{}, fmt.Errorf("%w: %d of ply %q: give 0 to %d", ErrSpace, counts[i], o.Ply.Reinforcement.Key, maxPlies)
		}
		q.bestCounts[i] = counts[i]
		q.items = append(q.items, item{index: i, mat: o.Ply.Reinforcement.Kind == Mat})
	}
	st, _ := q.build()
	return st, nil
}
