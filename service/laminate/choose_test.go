package laminate_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"hatchwright/service/laminate"
)

// catalog is an invented stock; prices are in no particular currency per m² laid.
func catalog() laminate.Space {
	opt := func(key string, kind laminate.Kind, w, mat, psi, cost float64) laminate.Option {
		return laminate.Option{Cost: cost, Ply: laminate.Ply{Resin: polyester, Reinforcement: laminate.Reinforcement{
			Key: key, Kind: kind, ArealMass: w, MatMass: mat, GlassFraction: psi}}}
	}
	return laminate.Space{
		Plies: []laminate.Option{
			opt("mat 225", laminate.Mat, 0.225, 0, 0.30, 4.1),
			opt("mat 300", laminate.Mat, 0.300, 0, 0.30, 5.2),
			opt("mat 450", laminate.Mat, 0.450, 0, 0.30, 7.4),
			opt("mat 600", laminate.Mat, 0.600, 0, 0.30, 9.9),
			opt("woven 600", laminate.Woven, 0.600, 0, 0.48, 8.8),
			opt("woven 800", laminate.Woven, 0.814, 0, 0.48, 11.3),
			opt("stitched 17-08", laminate.Stitched, 0.576, 0.229, 0.50, 13.9),
		},
		Cores: []laminate.CoreOption{
			{Core: laminate.Core{Key: "pvc 80/10", Kind: laminate.PVCCrosslinkII, Density: 80, Thickness: 10, BedResin: 0.8}, Cost: 24},
			{Core: laminate.Core{Key: "pvc 80/19", Kind: laminate.PVCCrosslinkII, Density: 80, Thickness: 19, BedResin: 0.8}, Cost: 35},
			{Core: laminate.Core{Key: "balsa 150/12", Kind: laminate.Balsa, Density: 150, Thickness: 12.7, BedResin: 1.2}, Cost: 29},
		},
		WovenApart: true,
	}
}

func stepCases(t testing.TB, p laminate.Panel) []laminate.Case {
	t.Helper()
	cs, err := laminate.Cases(laminate.Demand{Duty: laminate.Step}, p)
	if err != nil {
		t.Fatal(err)
	}
	return cs
}

// brute looks at every stack of the space with the public check alone.
func brute(t *testing.T, s laminate.Space, p laminate.Panel, cases []laminate.Case, prefer laminate.Prefer) (best float64, stacks float64) {
	t.Helper()
	best = math.Inf(1)
	barrierMass := s.BarrierMass
	if barrierMass == 0 {
		barrierMass = laminate.DefaultBarrierMass
	}
	try := func(barrier, core int, counts []int) {
		stacks++
		st, err := s.Arrange(barrier, core, counts)
		if err != nil {
			t.Fatal(err)
		}
		value := s.Plies[barrier].Cost
		mass := st.MassPerArea()
		for i, n := range counts {
			k := 1.0
			if core >= 0 {
				k = 2
			}
			value += k * float64(n) * s.Plies[i].Cost
		}
		if core >= 0 {
			value += s.Cores[core].Cost
		}
		if prefer == laminate.LeastMass {
			value = mass
			if s.Gelcoat != nil {
				value -= st.Mass().Gelcoat
			}
		}
		if s.WovenApart {
			for _, skin := range [][]laminate.Ply{st.Outer, st.Inner} {
				for i := 1; i < len(skin); i++ {
					if skin[i].Reinforcement.Kind == laminate.Woven && skin[i-1].Reinforcement.Kind == laminate.Woven {
						return
					}
				}
			}
		}
		if core < 0 && st.Thickness() < s.MinThickness || s.MaxThickness > 0 && st.Thickness() > s.MaxThickness+1e-9 {
			return
		}
		if core >= 0 {
			var o, i float64
			for _, p := range st.Outer {
				o += p.GlassMass()
			}
			for _, p := range st.Inner {
				i += p.GlassMass()
			}
			if o < s.MinOuterGlass || i < s.MinInnerGlass {
				return
			}
		}
		res, err := laminate.Check(st, p, cases, s.Rules)
		if err != nil {
			t.Fatal(err)
		}
		if passes(res) {
			best = math.Min(best, value)
		}
	}
	var fill func(barrier, core, from, left int, counts []int)
	fill = func(barrier, core, from, left int, counts []int) {
		total := 0
		for _, n := range counts {
			total += n
		}
		if core < 0 || total > 0 {
			try(barrier, core, counts)
		}
		if left == 0 {
			return
		}
		for i := from; i < len(counts); i++ {
			counts[i]++
			fill(barrier, core, i, left-1, counts)
			counts[i]--
		}
	}
	for b, o := range s.Plies {
		if o.Ply.Reinforcement.Kind != laminate.Mat || o.Ply.GlassMass() > barrierMass {
			continue
		}
		if !s.NoSolid {
			fill(b, -1, 0, s.MaxPlies-1, make([]int, len(s.Plies)))
		}
		for c := range s.Cores {
			fill(b, c, 0, (s.MaxPlies-1)/2, make([]int, len(s.Plies)))
		}
	}
	return best, stacks
}

// The choice equals the best of all stacks of the space on 300 random small catalogs, by cost and by mass.
func TestChooseEqualsBruteForce(t *testing.T) {
	catalogs := 300
	if testing.Short() {
		catalogs = 40
	}
	rng := rand.New(rand.NewPCG(12215, 5))
	kinds := []laminate.Kind{laminate.Mat, laminate.Mat, laminate.Woven, laminate.Stitched, laminate.Unidirectional}
	cores := []laminate.CoreKind{laminate.Balsa, laminate.PVCCrosslinkI, laminate.PVCCrosslinkII, laminate.SAN}
	found, sandwich, looked, all := 0, 0, 0, 0.0
	tight, other := 0, 0 // rooms that the free optimum does not go into; of them, those that another stack does
	for k := 0; k < catalogs; k++ {
		s := laminate.Space{MaxPlies: 3 + rng.IntN(5), WovenApart: rng.IntN(2) == 0, NoSolid: rng.IntN(5) == 0}
		for i := 0; i < 2+rng.IntN(3); i++ {
			kind := kinds[rng.IntN(len(kinds))]
			psi := map[laminate.Kind]float64{laminate.Mat: 0.3, laminate.Woven: 0.48, laminate.Stitched: 0.5, laminate.Unidirectional: 0.55}[kind]
			r := laminate.Reinforcement{Key: fmt.Sprint(i), Kind: kind, ArealMass: 0.2 + 0.8*rng.Float64(), GlassFraction: psi}
			if i == 0 {
				r.Kind, r.ArealMass, r.GlassFraction = laminate.Mat, 0.3, 0.3
			}
			if r.Kind == laminate.Stitched && rng.IntN(2) == 0 {
				r.MatMass = 0.225
			}
			cost := r.GlassMass() * (5 + 10*rng.Float64())
			if rng.IntN(20) == 0 {
				cost = 0 // a ply left over
			}
			s.Plies = append(s.Plies, laminate.Option{Ply: laminate.Ply{Reinforcement: r, Resin: polyester}, Cost: cost})
		}
		for i := 0; i < rng.IntN(3); i++ {
			s.Cores = append(s.Cores, laminate.CoreOption{Cost: 40 * rng.Float64(), Core: laminate.Core{
				Key: fmt.Sprint(i), Kind: cores[rng.IntN(len(cores))], Density: 90 + 110*rng.Float64(), Thickness: 1 + 24*rng.Float64()*rng.Float64(), BedResin: rng.Float64()}})
		}
		if rng.IntN(2) == 0 {
			s.MinThickness, s.MinOuterGlass, s.MinInnerGlass = 4*rng.Float64(), rng.Float64(), 0.7*rng.Float64()
		}
		p := laminate.Panel{A: 150 + 450*rng.Float64(), B: 150 + 450*rng.Float64()}
		if rng.IntN(4) == 0 {
			p = laminate.Panel{Radius: 100 + 200*rng.Float64()}
		}
		demand := laminate.Demand{Duty: laminate.Custom, Pressure: 5 * rng.Float64(), Force: 50 + 1500*rng.Float64(), Radius: 40 + 40*rng.Float64(), Limit: 0.02 * rng.Float64()}
		if rng.IntN(3) == 0 {
			demand = laminate.Demand{Duty: laminate.NoStep}
		}
		cases, err := laminate.Cases(demand, p)
		if err != nil {
			t.Fatal(err)
		}
		free, err := laminate.Choose(s, p, cases, laminate.LeastCost)
		if err != nil {
			t.Fatal(err)
		}
		if free.Found && rng.IntN(3) > 0 {
			// About as much room as the best takes that has all of it: too little, just as much, or more.
			s.MaxThickness = free.Stack.Thickness() * []float64{0.6, 0.75, 0.85, 0.93, 0.98, 1, 1.3}[rng.IntN(7)]
		}
		for _, prefer := range []laminate.Prefer{laminate.LeastCost, laminate.LeastMass} {
			want, stacks := brute(t, s, p, cases, prefer)
			if s.MaxThickness > 0 && free.Stack.Thickness() > s.MaxThickness+1e-9 && prefer == laminate.LeastCost {
				tight++
				if !math.IsInf(want, 1) {
					other++
				}
			}
			got, err := laminate.Choose(s, p, cases, prefer)
			if err != nil {
				t.Fatal(err)
			}
			if got.Stacks != stacks {
				t.Errorf("catalog %d: space of %g stacks, brute force saw %g", k, got.Stacks, stacks)
			}
			if math.IsInf(want, 1) {
				if got.Status != laminate.Infeasible || got.Found {
					t.Errorf("catalog %d %s: %s, but no stack passes", k, prefer, got.Status)
				}
				continue
			}
			if got.Status != laminate.Optimal || math.Abs(got.Bound-want) > 1e-9*(1+want) {
				t.Errorf("catalog %d %s: %s %.12g, brute force %.12g", k, prefer, got.Status, got.Bound, want)
				continue
			}
			if !passes(got.Results) {
				t.Errorf("catalog %d %s: the chosen stack does not pass: %+v", k, prefer, got.Results)
			}
			found++
			if got.Stack.Core != nil {
				sandwich++
			}
			looked += got.Nodes
			all += stacks
		}
	}
	t.Logf("%d rooms are too low for the best stack, %d of them take another", tight, other)
	if other < catalogs/20 {
		t.Errorf("only %d of %d low rooms take a stack: the catalogs test the room too little", other, tight)
	}
	t.Logf("%d catalogs by cost and mass: %d with a stack that passes, %d of them sandwich; %d of %.0f stacks looked at", catalogs, found, sandwich, looked, all)
	if found < catalogs/2 || sandwich < catalogs/10 {
		t.Errorf("only %d found, %d sandwich: the catalogs test too little", found, sandwich)
	}
}

// The order of the shop, by hand: barrier, then fabric and mat in turn.
func TestArrange(t *testing.T) {
	s := catalog()
	st, err := s.Arrange(1, 0, []int{0, 0, 1, 0, 2, 0, 1})
	if err != nil {
		t.Fatal(err)
	}
	keys := func(plies []laminate.Ply) (out []string) {
		for _, p := range plies {
			out = append(out, p.Reinforcement.Key)
		}
		return out
	}
	if got, want := fmt.Sprint(keys(st.Outer)), "[mat 300 woven 600 mat 450 woven 600 stitched 17-08]"; got != want {
		t.Errorf("outer %s, want %s", got, want)
	}
	if got, want := fmt.Sprint(keys(st.Inner)), "[stitched 17-08 woven 600 mat 450 woven 600]"; got != want {
		t.Errorf("inner %s, want %s", got, want)
	}
}

func TestChooseBudgetAndRefusals(t *testing.T) {
	s := catalog()
	p := laminate.Panel{A: 500, B: 700}
	cases := stepCases(t, p)
	full, err := laminate.Choose(s, p, cases, laminate.LeastCost)
	if err != nil {
		t.Fatal(err)
	}
	s.MaxNodes = 5
	short, err := laminate.Choose(s, p, cases, laminate.LeastCost)
	if err != nil {
		t.Fatal(err)
	}
	if full.Status != laminate.Optimal || short.Status != laminate.BudgetReached {
		t.Errorf("%s and %s", full.Status, short.Status)
	}
	if short.Bound > full.Bound*(1+1e-9) || short.Bound <= 0 {
		t.Errorf("bound %g of the short search exceeds the optimum %g", short.Bound, full.Bound)
	}
	if short.Found && short.Cost < full.Cost*(1-1e-9) {
		t.Errorf("cost %g under the optimum %g", short.Cost, full.Cost)
	}
	for name, bad := range map[string]func(*laminate.Space){
		"no plies":      func(s *laminate.Space) { s.Plies = nil },
		"negative cost": func(s *laminate.Space) { s.Plies[0].Cost = -1 },
		"NaN cost":      func(s *laminate.Space) { s.Plies[0].Cost = math.NaN() },
		"too many":      func(s *laminate.Space) { s.MaxPlies = 1000 },
		"core cost":     func(s *laminate.Space) { s.Cores[0].Cost = math.Inf(1) },
	} {
		b := catalog()
		bad(&b)
		if _, err := laminate.Choose(b, p, cases, laminate.LeastCost); !errors.Is(err, laminate.ErrSpace) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := laminate.Choose(catalog(), p, cases, "beauty"); !errors.Is(err, laminate.ErrSpace) {
		t.Errorf("preference: %v", err)
	}
	heavy := catalog()
	heavy.Plies = heavy.Plies[2:] // no mat light enough for the barrier
	got, err := laminate.Choose(heavy, p, cases, laminate.LeastCost)
	if err != nil || got.Status != laminate.Infeasible || got.Barriers != 0 {
		t.Errorf("no barrier: %+v %v", got.Status, err)
	}
}

var chosen laminate.Choice

// Seven plies, three cores, twelve plies deep; the plate is solved within the loop.
func BenchmarkChoose(b *testing.B) {
	for _, p := range []laminate.Panel{{A: 300, B: 300}, {A: 500, B: 700}, {A: 700, B: 1400}, {Radius: 250}} {
		for _, prefer := range []laminate.Prefer{laminate.LeastCost, laminate.LeastMass} {
			for _, solid := range []bool{false, true} {
				b.Run(fmt.Sprintf("%gx%gr%g/%s/solid=%v", p.A, p.B, p.Radius, prefer, solid), func(b *testing.B) {
					s := catalog()
					if solid {
						s.Cores = nil
					}
					cases := stepCases(b, p)
					for b.Loop() {
						c, err := laminate.Choose(s, p, cases, prefer)
						if err != nil {
							b.Fatal(err)
						}
						chosen = c
					}
					b.ReportMetric(float64(chosen.Nodes), "nodes")
					b.ReportMetric(chosen.Stacks, "stacks")
				})
			}
		}
	}
}
