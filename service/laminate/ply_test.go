package laminate_test

import (
	"math"
	"testing"

	"hatchwright/service/laminate"
)

// within fails the test unless got equals want to half a unit of the last printed digit (tol).
func within(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.7g, want %.7g ± %g", what, got, want, tol)
	}
}

var polyester = laminate.Resin{Key: "polyester", ExothermLimit: 5}

func ply(kind laminate.Kind, w, psi float64) laminate.Ply {
	return laminate.Ply{Reinforcement: laminate.Reinforcement{Key: string(kind), Kind: kind, ArealMass: w, GlassFraction: psi}, Resin: polyester}
}

// ISO 12215-5:2008 equation C.1, as restated in public programs; the values are an independent calculation.
func TestPlyThickness(t *testing.T) {
	for _, c := range []struct{ w, psi, want float64 }{
		{0.225, 0.30, 0.5254}, {0.300, 0.30, 0.7005}, {0.450, 0.30, 1.0508}, {0.600, 0.30, 1.4010},
		{0.900, 0.30, 2.1016}, {0.814, 0.48, 1.0528}, {0.600, 0.50, 0.7344}, {0.80526, 0.46 - 0.18*0.28421, 1.2848},
	} {
		within(t, "thickness", laminate.PlyThickness(c.w, c.psi, 1200), c.want, 5.1e-5)
		within(t, "printed form", c.w/3.072*(2.56/c.psi-1.36), laminate.PlyThickness(c.w, c.psi, 1200), 1e-12)
	}
}

// A stitched 17 oz/yd² fabric with 0.75 oz/ft² mat as two components: thickness and overall glass fraction.
// Unit factors 33.906 g/m² per oz/yd² and 305.15 g/m² per oz/ft²; ISO 12215-5:2008 equation C.1 and example C.3.2.
func TestStitchedFabricWithMat(t *testing.T) {
	p := laminate.Ply{Reinforcement: laminate.Reinforcement{Kind: laminate.Stitched, ArealMass: 0.5764, MatMass: 0.2289, GlassFraction: 0.50}, Resin: polyester}
	within(t, "thickness", p.Thickness(), 1.2399, 1e-4)
	s := laminate.Solid(nil, p)
	within(t, "overall psi", s.GlassFraction(), 0.42035, 1e-5)
	if cs := p.Components(); len(cs) != 2 || cs[0].Kind != laminate.Mat || cs[1].Kind != laminate.Stitched {
		t.Errorf("components %+v: the mat lies toward the mold", cs)
	}
}

// Resin per glass; independent calculation.
func TestResinForGlass(t *testing.T) {
	for _, c := range []struct{ psi, resin float64 }{{0.30, 2.333}, {0.35, 1.857}, {0.41, 1.439}, {0.48, 1.083}} {
		within(t, "resin", laminate.ResinFor(1, c.psi), c.resin, 5.001e-4)
	}
}

// ISO 12215-5:2008 table C.4a, as restated in public programs; the values are an independent calculation.
func TestAnnex(t *testing.T) {
	for _, c := range []struct {
		kind laminate.Kind
		psi  float64
		want laminate.Strength
	}{
		{laminate.Mat, 0.30, laminate.Strength{Tensile: 85.0, Compressive: 117.0, Flexural: 152.18, Shear: 62.0, Modulus: 6400, ShearModulus: 2750, Interlaminar: 17.25}},
		{laminate.Woven, 0.48, laminate.Strength{Tensile: 182.92, Compressive: 144.0, Flexural: 222.66, Shear: 76.4, Modulus: 13240, ShearModulus: 3056, Interlaminar: 14.1}},
		// Hand calculation from the same table: 880 × 0.3025 + 140 × 0.55 + 140; 250 × 0.55 + 190; 2.5 × 483.2/(1 + 483.2/327.5); 46600 × 0.3025 + 7200 × 0.55 + 7250;
		// 14380 × 0.3025 - 10560 × 0.55 + 3840; 22.5 - 17.5 × 0.55.
		{laminate.Unidirectional, 0.55, laminate.Strength{Tensile: 483.2, Compressive: 327.5, Flexural: 488.0, Shear: 50, Modulus: 25306.5, ShearModulus: 2381.95, Interlaminar: 12.875}},
		// 150 × 0.30 + 25; 300 × 0.09 + 107; the rest as mat.
		{laminate.Sprayed, 0.30, laminate.Strength{Tensile: 70, Compressive: 117.0, Flexural: 134, Shear: 62.0, Modulus: 6400, ShearModulus: 2750, Interlaminar: 17.25}},
	} {
		got := laminate.Annex(c.kind, c.psi)
		within(t, "tensile", got.Tensile, c.want.Tensile, 0.005)
		within(t, "compressive", got.Compressive, c.want.Compressive, 0.005)
		within(t, "flexural", got.Flexural, c.want.Flexural, 0.005)
		within(t, "shear", got.Shear, c.want.Shear, 0.005)
		within(t, "E", got.Modulus, c.want.Modulus, 0.5)
		within(t, "G", got.ShearModulus, c.want.ShearModulus, 0.5)
		within(t, "interlaminar", got.Interlaminar, c.want.Interlaminar, 0.005)
	}
}

// ISO 12215-5:2008 table D.1, as restated in a public program; the values are an independent calculation.
func TestCoreProperties(t *testing.T) {
	for _, c := range []struct {
		kind                      laminate.CoreKind
		density, tu, g, suc, ec   float64
		tuTol, gTol, sucTol, ecTo float64
	}{
		{laminate.Balsa, 150, 2.33, 128.77, 10.3, 3255, 0.005, 0.005, 0.05, 0.5},
		{laminate.PVCCrosslinkII, 80, 1.07, 25.4, 1.31, 78, 0.005, 0.05, 0.005, 0.5},
		{laminate.PVCCrosslinkI, 60, 0.565, 17.10, 0.617, 42.92, 5e-4, 0.005, 5e-4, 0.005},
		// Hand calculation from the same table: 0.014 × 80 - 0.33, 0.29 × 80 - 5.3, 0.012 × 80 - 0.24, 0.84 × 80 - 19; 1.7 - 0.2 - 0.613, 46 - 20,
		// 6.7e-4 × 10^3.18, 0.024 × 10^3.5.
		{laminate.PVCLinear, 80, 0.79, 17.9, 0.72, 48.2, 1e-9, 1e-9, 1e-9, 1e-9},
		{laminate.SAN, 100, 0.887, 26, 1.0141, 75.895, 1e-9, 1e-9, 5e-5, 5e-4},
	} {
		p, err := laminate.Core{Key: "c", Kind: c.kind, Density: c.density, Thickness: 10}.Properties()
		if err != nil {
			t.Fatal(err)
		}
		within(t, "tu", p.Shear, c.tu, c.tuTol)
		within(t, "G", p.ShearModulus, c.g, c.gTol)
		within(t, "suc", p.Compressive, c.suc, c.sucTol)
		within(t, "Ec", p.Modulus, c.ec, c.ecTo)
	}
	if _, err := (laminate.Core{Kind: laminate.Balsa, Density: 80, Thickness: 10}).Properties(); err == nil {
		t.Error("balsa of 80 kg/m³ is outside the table and must be refused")
	}
}
