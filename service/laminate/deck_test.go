package laminate_test

import (
	"errors"
	"math"
	"testing"

	"hatchwright/service/laminate"
)

// ISO 12215-5:2008 clause 8, as restated in public programs; the values are an independent calculation: motor
// displacement craft, LWL 7.5 m, 3000 kg, panel 500 by 700 mm.
func TestDeckPressure(t *testing.T) {
	for _, c := range []struct {
		category laminate.Category
		want     float64
	}{{laminate.CategoryA, 10.589}, {laminate.CategoryB, 8.471}, {laminate.CategoryC, 6.353}, {laminate.CategoryD, 5.000}} {
		r, err := laminate.Deck{Craft: laminate.MotorDisplacement, Category: c.category, LWL: 7.5, Displacement: 3000}.Pressure(700, 500)
		if err != nil {
			t.Fatal(err)
		}
		within(t, "P "+string(c.category), r.Pressure, c.want, 5.001e-4)
		within(t, "PBASE", r.Base, 17.225, 1e-9)
		within(t, "kR", r.KR, 1.35, 1e-9)
		within(t, "AD", r.Area, 0.35, 1e-12)
		within(t, "kAR", r.KAR, 0.61473, 5.001e-6)
		within(t, "kL", r.KL, 1, 0)
	}
	within(t, "kL at 0.3", laminate.KL(0.3, 3), 0.7505, 5.001e-5)
	x := 0.3
	r, err := laminate.Deck{Craft: laminate.MotorPlaning, Category: laminate.CategoryA, LWL: 7.5, Displacement: 3000, Position: &x, DynamicFactor: 1}.Pressure(700, 500)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "kL of the deck", r.KL, 0.7505, 5.001e-5)
	within(t, "kR planing", r.KR, 1, 0)
	// sailing: 0.5 × 3000^0.33 + 12, hand calculation 3000^0.33 = e^(0.33 × 8.006368) = 14.0427
	r, err = laminate.Deck{Craft: laminate.Sailing, Category: laminate.CategoryA, LWL: 7.5, Displacement: 3000}.Pressure(700, 500)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "PBASE sailing", r.Base, 19.0213, 6e-5)

	good := laminate.Deck{Craft: laminate.Sailing, Category: laminate.CategoryA, LWL: 7.5, Displacement: 3000}
	for name, bad := range map[string]func(*laminate.Deck){
		"length":       func(d *laminate.Deck) { d.LWL = 30 },
		"displacement": func(d *laminate.Deck) { d.Displacement = math.NaN() },
		"category":     func(d *laminate.Deck) { d.Category = "E" },
		"craft":        func(d *laminate.Deck) { d.Craft = "raft" },
		"position":     func(d *laminate.Deck) { p := 2.0; d.Position = &p },
	} {
		d := good
		bad(&d)
		if _, err := d.Pressure(700, 500); !errors.Is(err, laminate.ErrDeck) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := good.Pressure(500, 700); !errors.Is(err, laminate.ErrDeck) {
		t.Errorf("short side first: %v", err)
	}
}

// ISO 12215-5:2008 tables 5 and 12, as restated in public programs; independent calculation.
func TestPanelFactors(t *testing.T) {
	for _, c := range []struct{ r, k2, k3, kshc float64 }{
		{1, 0.308, 0.0140, 0.339}, {1.2, 0.3843, 0.01903, 0.3782}, {1.4, 0.4355, 0.02287, 0.4102},
		{1.5, 0.4537, 0.02428, 0.4235}, {1.8, 0.4871, 0.02699, 0.4526}, {2, 0.4974, 0.02796, 0.463},
	} {
		within(t, "k2", laminate.K2(c.r), c.k2, 5.001e-5)
		within(t, "k3", laminate.K3(c.r), c.k3, 5.001e-6)
		within(t, "kSHC", laminate.KSHC(c.r), c.kshc, 5.001e-5)
	}
	for _, c := range []struct{ r, want float64 }{{3, 0.493}, {4, 0.5}, {9, 0.5}} {
		within(t, "kSHC", laminate.KSHC(c.r), c.want, 1e-12)
	}
	within(t, "k2 long", laminate.K2(5), 0.5, 0)
	within(t, "k3 long", laminate.K3(5), 0.028, 0)
	// ISO 12215-5:2008 table 6: 1 up to c/b 0.03, then 1.1 - 3.33 c/b, 0.5 from 0.18 on
	for _, c := range []struct{ ratio, want float64 }{{0, 1}, {0.03, 1}, {0.1, 0.767}, {0.15, 0.6005}, {0.18, 0.5}, {0.4, 0.5}} {
		within(t, "kC", laminate.KC(c.ratio), c.want, 7e-4)
	}
	// continuous at both ends to the printed digits
	within(t, "kC", laminate.KC(0.03), laminate.KC(0.0300001), 5e-4)
	within(t, "kC", laminate.KC(0.18), laminate.KC(0.1800001), 1e-3)
	// Roark's clamped plate, table 11.4 case 8a: k2 is beta1, k3 is alpha, within 1.7 %.
	for _, c := range []struct{ r, beta1, alpha float64 }{
		{1.0, 0.3078, 0.0138}, {1.2, 0.3834, 0.0188}, {1.4, 0.4356, 0.0226}, {1.6, 0.4680, 0.0251}, {1.8, 0.4872, 0.0267}, {2.0, 0.4974, 0.0277}, {9, 0.5, 0.0284},
	} {
		if d := math.Abs(laminate.K2(c.r)/c.beta1 - 1); d > 0.003 {
			t.Errorf("k2 at %g is %.4f from the clamped plate", c.r, d)
		}
		if d := math.Abs(laminate.K3(c.r)/c.alpha - 1); d > 0.017 {
			t.Errorf("k3 at %g is %.4f from the clamped plate", c.r, d)
		}
	}
}

// ISO 12215-5:2008 equations 35 to 37, table 15, table E.2; the values are an independent calculation for 500 by
// 700 mm under 6.353 kN/m².
func TestSingleSkin(t *testing.T) {
	const p = 6.353
	for _, c := range []struct{ psi, t, tUntested float64 }{{0.30, 3.015, 3.371}, {0.40884, 2.692, 3.010}, {0.48, 2.493, 2.787}} {
		sd := 0.5 * laminate.Annex(laminate.Mat, c.psi).Flexural
		within(t, "t", laminate.SingleSkinThickness(500, 1, p, laminate.K2(1.4), sd), c.t, 6e-4)
		within(t, "t untested", laminate.SingleSkinThickness(500, 1, p, laminate.K2(1.4), laminate.UntestedFactor*sd), c.tUntested, 6e-4)
	}
	// dry glass of those thicknesses at psi 0.30
	within(t, "glass", 3.015/laminate.PlyThickness(1, 0.30, 1200), 1.291, 6e-4)
	within(t, "glass untested", 3.371/laminate.PlyThickness(1, 0.30, 1200), 1.444, 6e-4)
	within(t, "least deck", laminate.MinDeckThickness(7.5), 2.50, 1e-9)
	for _, c := range []struct {
		n                   int
		density, para, perp float64
	}{{5, 500, 14.69, 9.13}, {7, 600, 16.64, 12.83}} {
		para, perp, ok := laminate.PlywoodFlexural(c.density, c.n)
		if !ok {
			t.Fatal("refused")
		}
		within(t, "plywood along", para, c.para, 0.00501)
		within(t, "plywood across", perp, c.perp, 0.00501)
	}
	if _, _, ok := laminate.PlywoodFlexural(500, 6); ok {
		t.Error("plywood of 6 plies must be refused")
	}
}

// ISO 12215-5:2008 10.5 and D.2.2; the values are an independent calculation.
func TestSandwichByTheStandard(t *testing.T) {
	s := laminate.SectionOf(2, 12, 2)
	within(t, "ts", s.Lever, 14, 0)
	within(t, "I", s.Inertia, 0.19733, 5.001e-6)
	within(t, "SMo", s.ModulusOuter, 0.24667, 5.001e-6)
	within(t, "SMi", s.ModulusInner, 0.24667, 5.001e-6)
	s = laminate.SectionOf(2.5, 12, 1.5)
	within(t, "I", s.Inertia, 0.18533, 5.001e-6)
	within(t, "yo", s.Outer, 6.5, 1e-9)
	within(t, "yi", s.Inner, 9.5, 1e-9)
	within(t, "SMo", s.ModulusOuter, 0.28513, 5.001e-6)
	within(t, "SMi", s.ModulusInner, 0.19509, 5.001e-6)

	skin := laminate.Annex(laminate.Mat, 0.30)
	balsa, err := laminate.Core{Kind: laminate.Balsa, Density: 150, Thickness: 12}.Properties()
	if err != nil {
		t.Fatal(err)
	}
	pvc, err := laminate.Core{Kind: laminate.PVCCrosslinkII, Density: 80, Thickness: 12}.Properties()
	if err != nil {
		t.Fatal(err)
	}
	within(t, "wrinkling balsa", laminate.WrinklingStress(skin.Modulus, balsa.Modulus, balsa.ShearModulus), 416.8, 0.0501)
	within(t, "wrinkling PVC", laminate.WrinklingStress(skin.Modulus, pvc.Modulus, pvc.ShearModulus), 69.96, 0.00501)
	n := laminate.NeedSandwich(500, 1.4, 1, 6.353, 0.5*skin.Tensile, 0.5*skin.Compressive, skin.Modulus, balsa.DesignShear())
	within(t, "SMo", n.ModulusOuter, 0.02713, 6e-6)
	within(t, "SMi", n.ModulusInner, 0.01971, 6e-6)
	within(t, "I", n.Inertia, 0.01391, 6e-6)
	within(t, "ts", n.Lever, 1.118, 6e-4)
	o, i := laminate.MinDeckSkins(7.5)
	within(t, "wos", o, 0.63, 1e-9)
	within(t, "wis", i, 0.441, 1e-9)
	for _, c := range []struct{ lh, want float64 }{{8, 0.25}, {12, 0.31}, {20, 0.40}} {
		within(t, "least td", laminate.MinCoreShear(c.lh), c.want, 1e-12)
	}
	within(t, "widest panel", laminate.MaxPanelWidth(9), 2970, 0)
}

// The ply by ply section of a mat sandwich is that of ISO 12215-5:2008 D.2.2: EI = E I, shear v/ts.
func TestSectionIsTheStandards(t *testing.T) {
	w := 2 / laminate.PlyThickness(1, 0.30, 1200) // a skin of 2 mm
	core := laminate.Core{Kind: laminate.Balsa, Density: 150, Thickness: 12}
	st := laminate.Stack{Outer: []laminate.Ply{ply(laminate.Mat, w, 0.30)}, Core: &core, Inner: []laminate.Ply{ply(laminate.Mat, w, 0.30)}}
	sec, err := st.Section(1)
	if err != nil {
		t.Fatal(err)
	}
	within(t, "EI", sec.EI/6400, 0.19733*1000, 5.001e-3) // cm⁴/cm = 1000 mm⁴/mm
	within(t, "neutral axis", sec.NeutralAxis, 8, 1e-9)
	within(t, "wrinkling", sec.OuterWrinkling, 416.8, 0.0501)
	// thin skins carry the shear as v/ts; these are thick: 2 mm of 14 mm lever, 1.4 % less
	within(t, "core shear", sec.CoreShear(14), 1, 0.02)
	if st := sec.Stresses(100); len(st) != 2 || !(st[0].Top < 0) || !(st[1].Bottom > 0) {
		t.Errorf("a positive moment compresses the mold face: %+v", st)
	}
	within(t, "stress", sec.Stresses(100)[1].Bottom, 100/24.667, 1e-4) // SM 0.24667 cm³/cm = 24.667 mm³/mm
}
