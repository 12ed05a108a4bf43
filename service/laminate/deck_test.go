package laminate_test

import (
	"errors"
	"fmt"
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

// ISO 12215-5:2008 table 12, as restated in public programs; independent calculation.
func TestShearFactorOfASandwich(t *testing.T) {
	for _, c := range []struct{ r, want float64 }{
		{1, 0.339}, {1.2, 0.3782}, {1.4, 0.4102}, {1.5, 0.4235}, {1.8, 0.4526}, {2, 0.463}, {3, 0.493}, {4, 0.5}, {9, 0.5},
	} {
		within(t, fmt.Sprint("kSHC at ", c.r), laminate.KSHC(c.r), c.want, 5.001e-5)
	}
}

// ISO 12215-5:2008 table 15, equations 44 and 45, table 13; the values are an independent calculation.
func TestLeastDeck(t *testing.T) {
	within(t, "thickness", laminate.MinDeckThickness(7.5), 2.50, 1e-9)
	o, i := laminate.MinDeckSkins(7.5)
	within(t, "wos", o, 0.63, 1e-9)
	within(t, "wis", i, 0.441, 1e-9)
	for _, c := range []struct{ lh, want float64 }{{8, 0.25}, {12, 0.31}, {20, 0.40}} {
		within(t, fmt.Sprint("core shear at ", c.lh), laminate.MinCoreShear(c.lh), c.want, 1e-12)
	}
}

// Dry glass of two thicknesses at psi 0.30, and the stress at which a skin wrinkles over a core; the values are an
// independent calculation.
func TestGlassAndWrinkling(t *testing.T) {
	within(t, "glass of 3.015 mm", 3.015/laminate.PlyThickness(1, 0.30, 1200), 1.291, 6e-4)
	within(t, "glass of 3.371 mm", 3.371/laminate.PlyThickness(1, 0.30, 1200), 1.444, 6e-4)
	skin := laminate.Annex(laminate.Mat, 0.30)
	for _, c := range []struct {
		core      laminate.Core
		want, tol float64
	}{
		{laminate.Core{Kind: laminate.Balsa, Density: 150, Thickness: 12}, 416.8, 0.0501},
		{laminate.Core{Kind: laminate.PVCCrosslinkII, Density: 80, Thickness: 12}, 69.96, 0.00501},
	} {
		p, err := c.core.Properties()
		if err != nil {
			t.Fatal(err)
		}
		within(t, fmt.Sprint("wrinkling over ", c.core.Kind), laminate.WrinklingStress(skin.Modulus, p.Modulus, p.ShearModulus), c.want, c.tol)
	}
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
	// skins of 2 mm on 12 mm: I = 1e-3 (2·2·14²/4 + 16/12) = 0.19733 cm⁴/cm, SM = 10 I/8 mm
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
