package laminate_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/laminate"
)

func drawPly(t *rapid.T, label string) laminate.Ply {
	kind := rapid.SampledFrom([]laminate.Kind{laminate.Mat, laminate.Sprayed, laminate.Woven, laminate.Stitched, laminate.Unidirectional}).Draw(t, label+" kind")
	p := ply(kind, rapid.Float64Range(0.1, 1.2).Draw(t, label+" mass"), rapid.Float64Range(0.2, 0.65).Draw(t, label+" psi"))
	if kind == laminate.Stitched && rapid.Bool().Draw(t, label+" with mat") {
		p.Reinforcement.MatMass = 0.225
	}
	return p
}

func drawStack(t *rapid.T) laminate.Stack {
	var s laminate.Stack
	for i := rapid.IntRange(1, 5).Draw(t, "outer"); i > 0; i-- {
		s.Outer = append(s.Outer, drawPly(t, "outer"))
	}
	if rapid.Bool().Draw(t, "sandwich") {
		s.Core = &laminate.Core{Key: "c", Kind: laminate.PVCCrosslinkII, Density: rapid.Float64Range(40, 200).Draw(t, "density"), Thickness: rapid.Float64Range(3, 40).Draw(t, "core"), BedResin: 0.5}
		for i := rapid.IntRange(1, 4).Draw(t, "inner"); i > 0; i-- {
			s.Inner = append(s.Inner, drawPly(t, "inner"))
		}
	}
	if rapid.Bool().Draw(t, "gelcoat") {
		s.Gelcoat = &laminate.Gelcoat{Key: "g", Catalyzed: chart()}
	}
	return s
}

func close9(t *rapid.T, what string, got, want float64) {
	t.Helper()
	if math.Abs(got-want) > 1e-9*(math.Abs(want)+1e-12) {
		t.Fatalf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// Mass adds up ply by ply; the neutral axis lies within; EI about the neutral axis is the least; interfaces rise.
func TestStackProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStack(t)
		sec, err := s.Section(laminate.UntestedFactor)
		if err != nil {
			t.Fatal(err)
		}
		mass := 0.0
		for _, p := range s.Plies() {
			mass += p.GlassMass() + p.ResinMass()
		}
		if s.Core != nil {
			mass += s.Core.MassPerArea()
		}
		if s.Gelcoat != nil {
			mass += laminate.DefaultFilm / 1000 * laminate.DefaultGelcoatDensity
		}
		close9(t, "mass", s.MassPerArea(), mass)
		close9(t, "thickness", sec.Thickness, s.Thickness())
		if !(sec.NeutralAxis > 0 && sec.NeutralAxis < sec.Thickness) {
			t.Fatalf("neutral axis %g outside 0 to %g", sec.NeutralAxis, sec.Thickness)
		}
		z := sec.Interfaces()
		for i := 1; i < len(z); i++ {
			if !(z[i] > z[i-1]) {
				t.Fatalf("interfaces %v", z)
			}
		}
		about0 := 0.0
		for _, l := range sec.Layers {
			about0 += l.Modulus * (l.Bottom*l.Bottom*l.Bottom - l.Top*l.Top*l.Top) / 3
		}
		close9(t, "parallel axes", about0, sec.EI+sec.EA*sec.NeutralAxis*sec.NeutralAxis)

		// A pure moment: no net force, and the stresses carry it.
		const m = 123.0
		force, carried := 0.0, 0.0
		for _, st := range sec.Stresses(m) {
			l := sec.Layers[st.Layer]
			mean, t2 := (st.Top+st.Bottom)/2, l.Thickness()
			force += mean * t2
			// linear stress: ∫ s (z - zn) dz = t (mean (mid - zn) + (bottom - top) t/12)
			carried += t2 * (mean*((l.Top+l.Bottom)/2-sec.NeutralAxis) + (st.Bottom-st.Top)*t2/12)
			if l.Bottom < sec.NeutralAxis && !(st.Top < 0) || l.Top > sec.NeutralAxis && !(st.Bottom > 0) {
				t.Fatalf("sign: %+v at %+v", st, l)
			}
		}
		if math.Abs(force) > 1e-6 {
			t.Fatalf("net force %g", force)
		}
		close9(t, "moment", carried, m)
		if s.Core != nil {
			// The skins as two beams, each with its own EA, centroid and EI: the core carries
			// 1/(d + (EIo + EIi)(1/EAo + 1/EAi)/d) per unit of shear force, d between the centroids.
			var ea, first, own [2]float64
			for pass := 0; pass < 2; pass++ {
				skin := 0
				for _, l := range sec.Layers {
					if l.Core() {
						skin = 1
						continue
					}
					et, mid, h := l.Modulus*l.Thickness(), (l.Top+l.Bottom)/2, l.Thickness()
					if pass == 0 {
						ea[skin] += et
						first[skin] += et * mid
					} else {
						own[skin] += et * (h*h/12 + math.Pow(mid-first[skin]/ea[skin], 2))
					}
				}
			}
			d := first[1]/ea[1] - first[0]/ea[0]
			close9(t, "core shear", sec.CoreShear(1), 1/(d+(own[0]+own[1])*(1/ea[0]+1/ea[1])/d))
		}
	})
}

// Twice the dry glass in every ply and twice the core: lengths double, EA doubles, EI grows 8 times, mass doubles.
func TestDoubledStack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawStack(t)
		s.Gelcoat = nil
		d := laminate.Stack{}
		double := func(in []laminate.Ply) (out []laminate.Ply) {
			for _, p := range in {
				p.Reinforcement.ArealMass *= 2
				p.Reinforcement.MatMass *= 2
				out = append(out, p)
			}
			return out
		}
		d.Outer, d.Inner = double(s.Outer), double(s.Inner)
		if s.Core != nil {
			c := *s.Core
			c.Thickness *= 2
			c.BedResin *= 2
			d.Core = &c
		}
		a, err := s.Section(1)
		if err != nil {
			t.Fatal(err)
		}
		b, err := d.Section(1)
		if err != nil {
			t.Fatal(err)
		}
		close9(t, "thickness", b.Thickness, 2*a.Thickness)
		close9(t, "EA", b.EA, 2*a.EA)
		close9(t, "EI", b.EI, 8*a.EI)
		close9(t, "mass", d.MassPerArea(), 2*s.MassPerArea())
		close9(t, "glass fraction", d.GlassFraction(), s.GlassFraction())

		// A panel twice as wide under the same pressure, twice as thick: same stress, twice the deflection.
		p := laminate.Panel{A: rapid.Float64Range(200, 900).Draw(t, "a"), B: rapid.Float64Range(200, 900).Draw(t, "b")}
		q := laminate.Panel{A: 2 * p.A, B: 2 * p.B}
		cases := []laminate.Case{{Name: "p", Pressure: 0.006, Strength: true, Limit: 0.01}}
		ra, err := laminate.Check(s, p, cases, laminate.Rules{})
		if err != nil {
			t.Fatal(err)
		}
		rb, err := laminate.Check(d, q, cases, laminate.Rules{})
		if err != nil {
			t.Fatal(err)
		}
		close9(t, "stress", rb[0].UtilizationStress, ra[0].UtilizationStress)
		close9(t, "deflection", rb[0].Deflection, 2*ra[0].Deflection)
		close9(t, "utilization", rb[0].UtilizationDeflection, ra[0].UtilizationDeflection)
		close9(t, "core shear", rb[0].UtilizationCoreShear, ra[0].UtilizationCoreShear)
		// twice the load, twice everything
		cases[0].Pressure *= 2
		rc, err := laminate.Check(s, p, cases, laminate.Rules{})
		if err != nil {
			t.Fatal(err)
		}
		close9(t, "twice the load", rc[0].Utilization(), 2*ra[0].Utilization())
		// an untested laminate bears 0.8 of a tested one, and is 1/0.8 as soft
		tested, err := laminate.Check(s, p, cases, laminate.Rules{Tested: true})
		if err != nil {
			t.Fatal(err)
		}
		if s.Core == nil {
			close9(t, "tested", rc[0].UtilizationStress*laminate.UntestedFactor, tested[0].UtilizationStress)
			close9(t, "tested deflection", rc[0].Deflection*laminate.UntestedFactor, tested[0].Deflection)
		}
	})
}
