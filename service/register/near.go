package register

import (
	"cmp"
	"math"
	"slices"
	"strconv"
)

// LargestTolerance bounds what is called near, mm: a hatch that is further off in
// size is another hatch (shop rule).
const LargestTolerance = 50.0

// Bounds is where molds that may be near lie in the register: of the class, with
// sides within these, mm.
type Bounds struct {
	Class                 string
	LongLeast, LongMost   float64
	ShortLeast, ShortMost float64
}

// Near bounds the molds that may be within tolerance of a face: a mold outside
// is not. A tolerance below 0 is 0, one above LargestTolerance is that.
//
//	|long - long'| <= 2 H,  |short - short'| <= 2 H
//
// since the box of an outline is made of its reach in four directions, and sorting
// two pairs never takes them further apart.
func (f Face) Near(tolerance float64) Bounds {
	t := Within(tolerance)
	long, short := f.Size()
	// Slack for the noise of turning and of storing, far below any grain.
	t += slack
	return Bounds{Class: f.Class(), LongLeast: long - t, LongMost: long + t, ShortLeast: short - t, ShortMost: short + t}
}

// slack covers rounding in the last digits of coordinates of up to some meters.
const slack = 1e-6

// Within is the tolerance that counts, mm.
func Within(tolerance float64) float64 {
	if !(tolerance > 0) {
		return 0
	}
	return math.Min(tolerance, LargestTolerance)
}

// strip is how wide the strips are that the register keeps molds in, mm: about
// twice the usual tolerance, so that two or three are looked into.
const strip = 10.0

// Strip is the number of the strip that a long side lies in.
func Strip(long float64) int { return int(math.Floor(long / strip)) }

// Strips are the numbers of the strips that the bounds reach into.
func (b Bounds) Strips() []int {
	var out []int
	for s := Strip(b.LongLeast); s <= Strip(b.LongMost); s++ {
		out = append(out, s)
	}
	return out
}

// Difference is what a mold makes otherwise than asked.
type Difference struct {
	What  string  // "outline recess", "section 3 n", ...
	By    float64 // of the mold less what is asked, mm; of an outline twice the Hausdorff distance
	Asked float64 // 0 for an outline
}

// Off is the most that any size differs that comes out of the mold instead of the
// face that is asked for, mm, with the differences over a hundredth of a
// millimeter, largest first. ok is false when they cannot be compared: of another
// class, or made up otherwise. Of the four turns the best counts.
func Off(asked, mold Face) (off float64, list []Difference, ok bool) {
	if asked.Class() != mold.Class() || len(asked.Outlines) != len(mold.Outlines) || len(asked.Section) != len(mold.Section) || len(asked.Outlines) == 0 {
		return 0, nil, false
	}
	for i := range asked.Outlines {
		if asked.Outlines[i].Name != mold.Outlines[i].Name {
			return 0, nil, false
		}
	}
	still := asked.laid(0)
	var best []Difference
	least := math.Inf(1)
	for turn := range 4 {
		worst := 0.0
		var these []Difference
		for i, c := range mold.laid(turn) {
			d := 2 * Distance(still[i].Outline, c.Outline)
			worst = math.Max(worst, d)
			these = append(these, Difference{What: "outline " + c.Name, By: d})
		}
		if worst < least-slack {
			least, best = worst, these
		}
	}
	off = least
	list = append(list, best...)
	for i, a := range asked.Section {
		m := mold.Section[i]
		name := a.Name
		if name == "" {
			name = "corner"
		}
		for _, d := range []struct {
			what        string
			asked, mold float64
		}{{"n", a.At.N, m.At.N}, {"z", a.At.Z, m.At.Z}, {"radius", a.Radius, m.Radius}} {
			off = math.Max(off, math.Abs(d.mold-d.asked))
			list = append(list, Difference{What: sectionName(i, name, d.what), By: d.mold - d.asked, Asked: d.asked})
		}
	}
	list = slices.DeleteFunc(list, func(d Difference) bool { return math.Abs(d.By) < grain })
	slices.SortStableFunc(list, func(a, b Difference) int { return cmp.Compare(math.Abs(b.By), math.Abs(a.By)) })
	return off, list, true
}

func sectionName(i int, name, figure string) string {
	return "section " + strconv.Itoa(i) + " (" + name + ") " + figure
}
