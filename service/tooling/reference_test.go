package tooling

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/stat/distuv"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// TestRabbetWidths: a 1-3/8 in cutter with seven bearings (common practice, no
// source; see testdata/reference/rabbet-widths).
func TestRabbetWidths(t *testing.T) {
	f, err := os.Open("../../testdata/reference/rabbet-widths/widths.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	const inch = 25.4
	number := func(s string) float64 {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	bit := shop.Bit{Key: "1-3/8", Kind: shop.Rabbet, Diameter: 1.375 * inch, CuttingLength: 13}
	for _, r := range rows[1:] {
		bit.Bearings = append(bit.Bearings, number(r[0])*inch)
	}
	c := NewCrib(&shop.Profile{Crib: []shop.Bit{bit}})
	if len(c.flush) != 1 || len(c.steps) != len(bit.Bearings)-1 {
		t.Fatalf("%d flush-trimming bits, %d steps out of %d bearings", len(c.flush), len(c.steps), len(bit.Bearings))
	}
	for _, r := range rows[1:] {
		bearing, width := number(r[0])*inch, number(r[1])*inch
		found := width == 0 && c.flush[0].diameter == bearing
		for _, s := range c.steps {
			found = found || math.Abs(s.bearing-bearing) < 1e-12 && math.Abs(s.size-width) < 1e-12
		}
		if !found {
			t.Errorf("a bearing of %v does not cut %v", bearing, width)
		}
	}
}

// TestCheckValues: recess 152.4 square, gap 3.175, a bit of 6.35: the lid is 146.05
// square, its cavity's template 133.35 square; a ledge of 12.7 is one rabbet of
// 12.7 (common practice, no source). The recess' corners are as round as the bit
// needs: 9.525 leaves 6.35 on the lid.
func TestCheckValues(t *testing.T) {
	c := NewCrib(&shop.Profile{Crib: []shop.Bit{
		{Key: "trim", Kind: shop.FlushTrim, Diameter: 6.35, Bearings: []float64{6.35}, CuttingLength: 25.4},
		{Key: "rabbet", Kind: shop.Rabbet, Diameter: 34.925, Bearings: []float64{9.525, 15.875}, CuttingLength: 12.7},
	}})
	sheet := shop.Sheet{Key: "board", Thickness: 19.05, Length: 2440, Width: 1220, Density: 750}
	stack := Stack{Thickness: 19.05, Sheets: []shop.Sheet{sheet}}
	square := func(side, radius float64) outline.Outline {
		o, err := outline.Rectangle(side, side, radius)
		if err != nil {
			t.Fatal(err)
		}
		return o
	}
	needs := []need{
		{name: "recess", part: part.Receiver, board: RecessBlock, outline: square(152.4, 9.525), tolerance: 0.05},
		{name: "trunk", part: part.Receiver, board: TrunkBlock, outline: square(152.4-2*12.7, 0), tolerance: 0.25},
		{name: "lid", part: part.Lid, board: CavityBoard, hole: true, outline: square(146.05, 6.35), tolerance: 0.05},
	}
	c.block(&needs[0], 0, 0, stack)
	c.block(&needs[1], 12.7, 0, stack)
	c.hole(&needs[2], 3.175, 0, stack)
	p, err := c.routerPlan(needs, c.plan(needs))
	if err != nil {
		t.Fatal(err)
	}
	if p.Masters != 1 || p.Cuts != 2 || !p.Optimal {
		t.Errorf("%d masters, %d cuts, optimal %v; wanted 1, 2", p.Masters, p.Cuts, p.Optimal)
	}
	side := map[string]float64{}
	for _, s := range p.Steps {
		side[s.To] = s.ToOutline.Length()
		if s.To == "trunk template" && (s.Operation != RabbetAndTrim || math.Abs(s.Offset+12.7) > 1e-12 || s.Bearing != 9.525) {
			t.Errorf("the ledge is cut by %s of %v with a bearing of %v", s.Operation, s.Offset, s.Bearing)
		}
	}
	for name, want := range map[string]float64{"recess template": 152.4, "lid template": 133.35, "lid cavity board": 146.05, "trunk template": 127, "receiver block 2": 127} {
		if math.Abs(side[name]-want) > 1e-9 {
			t.Errorf("%s is %v square, wanted %v", name, side[name], want)
		}
	}
}

// TestScrewLength by hand: 19 mm on 25 mm is 19 + 2/3 25 = 35.667 mm.
func TestScrewLength(t *testing.T) {
	d := shop.Example()
	crib := NewCrib(d.Profile)
	o, err := outline.Rectangle(500, 300, 20)
	if err != nil {
		t.Fatal(err)
	}
	m := Mold{Part: part.Receiver, Kind: Plug, Layers: []Layer{
		{Board: BaseBoard, Stack: Stack{Sheets: []shop.Sheet{{Thickness: 25}}}},
		{Board: RecessBlock, Outline: &o, Stack: Stack{Sheets: []shop.Sheet{{Thickness: 19}}}},
	}}
	s, err := crib.screws(&m, func(*Mold, *Layer) float64 { return 0 }, nil)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(s[0].Length-(19+50.0/3)) > 1e-12 {
		t.Errorf("length %v", s[0].Length)
	}
	// 20 mm in the corners' radius is used up: 460 x 260 sharp, 1440 round, 10 screws.
	if len(s[0].Positions) != 10 || math.Abs(s[0].Pitch-144) > 1e-9 {
		t.Errorf("%d screws, %v apart; wanted 10 at 144", len(s[0].Positions), s[0].Pitch)
	}
}

// TestToleranceByHand sums a chain worked by hand. Recess and lid part after the
// recess template: the lid's template takes one rabbet and its trim, each board one
// pass, four in all.
//
//	worst case  4 0.1 + 4 0.025 + 2 0.15 + 2 (0.25 0.003 300) + 0.1 = 1.35
//	RSS         sqrt(4 0.01 + 4 0.000625 + 2 0.0225 + 2 0.050625 + 0.01) = 0.445533
func TestToleranceByHand(t *testing.T) {
	d := shop.Example()
	c := hatchOf(d, part.FlushLedge, 600, 450, 90)
	g := stand(t, &c)
	w, err := Build(&c, g, d, NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile))
	if err != nil {
		t.Fatal(err)
	}
	x := w.Tolerance
	if math.Abs(x.WorstCase-1.35) > 1e-12 {
		t.Errorf("worst case ±%v, wanted 1.35", x.WorstCase)
	}
	if want := math.Sqrt(0.04 + 0.0025 + 0.045 + 0.10125 + 0.01); math.Abs(x.RSS-want) > 1e-12 {
		t.Errorf("RSS ±%v, wanted %v", x.RSS, want)
	}
	if want := g.Fit.LeastClearance - 3.5*0.003; math.Abs(x.Nominal-want) > 1e-12 {
		t.Errorf("nominal %v, wanted %v", x.Nominal, want)
	}
}

// TestBelowAnywhere holds the probability against gonum's normal distribution: its
// closed form where the parts are alone, Gauss-Legendre quadrature elsewhere.
func TestBelowAnywhere(t *testing.T) {
	phi := distuv.UnitNormal
	for _, m := range []float64{-0.3, 0, 0.2, 0.5, 1} {
		for _, n := range []int{1, 4, 12} {
			if got, want := belowAnywhere(m, 0.2, 0, n), 1-math.Pow(1-phi.CDF(-m/0.2), float64(n)); math.Abs(got-want) > 1e-12 {
				t.Errorf("local only, margin %v, %d sides: %v, wanted %v", m, n, got, want)
			}
			if got, want := belowAnywhere(m, 0, 0.2, n), phi.CDF(-m/0.2); math.Abs(got-want) > 1e-12 {
				t.Errorf("common only, margin %v: %v, wanted %v", m, got, want)
			}
			for _, s := range [][2]float64{{0.2, 0.1}, {0.1, 0.2}, {0.15, 0.15}, {0.05, 0.5}} {
				l, k := s[0], s[1]
				want := 1 - quad.Fixed(func(x float64) float64 {
					return phi.Prob(x) * math.Pow(phi.CDF((m+k*x)/l), float64(n))
				}, -9, 9, 600, quad.Legendre{}, 0)
				if got := belowAnywhere(m, l, k, n); math.Abs(got-want) > 1e-9 {
					t.Errorf("margin %v, local %v, common %v, %d sides: %v, wanted %v", m, l, k, n, got, want)
				}
			}
			// With one side the two parts are one normal deviation.
			if got, want := belowAnywhere(m, 0.3, 0.4, 1), phi.CDF(-m/0.5); math.Abs(got-want) > 1e-9 {
				t.Errorf("margin %v, one side: %v, wanted %v", m, got, want)
			}
		}
	}
}

// TestDeviations: the deviations of a uniform and a triangular distribution are
// gonum's.
func TestDeviations(t *testing.T) {
	if got, want := Uniform.deviation(0.3), (distuv.Uniform{Min: -0.3, Max: 0.3}).StdDev(); math.Abs(got-want) > 1e-12 {
		t.Errorf("uniform %v, wanted %v", got, want)
	}
	if got, want := Triangular.deviation(0.3), distuv.NewTriangle(-0.3, 0.3, 0, nil).StdDev(); math.Abs(got-want) > 1e-12 {
		t.Errorf("triangular %v, wanted %v", got, want)
	}
	if share := 2*distuv.UnitNormal.CDF(0.3/Normal.deviation(0.3)) - 1; math.Abs(share-0.9973) > 1e-4 {
		t.Errorf("a normal half width holds %v", share)
	}
}

// TestPiecesOfBoards: a board that no sheet holds is joined from the fewest pieces;
// on a sheet of 1600 x 1000 less 6 mm all round, 1588 x 988 can be used.
func TestPiecesOfBoards(t *testing.T) {
	sheet := shop.Sheet{Length: 1600, Width: 1000}
	for _, k := range []struct {
		length, width float64
		along, across int
	}{
		{1588, 988, 1, 1}, {988, 1588, 1, 1}, {1588, 989, 1, 2}, {1700, 900, 2, 1}, {1400, 1400, 1, 2}, {1650, 1650, 2, 2}, {3300, 900, 3, 1},
	} {
		along, across := pieces(sheet, k.length, k.width, 6)
		if along*across != k.along*k.across || !fitsSheet(sheet, k.length/float64(along), k.width/float64(across), 6) {
			t.Errorf("%v x %v: %d x %d pieces, wanted %d x %d", k.length, k.width, along, across, k.along, k.across)
		}
	}
}
