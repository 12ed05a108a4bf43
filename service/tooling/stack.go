package tooling

import (
	"math"
	"slices"

	"hatchwright/service/shop"
)

// Stack is a thickness built from stocked sheets.
type Stack struct {
	Target    float64 // mm, what was asked for
	Thickness float64 // mm, what the sheets give
	Sheets    []shop.Sheet
}

// micron is the grain that thicknesses are compared at, mm: no sheet is sold to
// less, and whole numbers of it add up exactly.
const micron = 0.001

// Stacker knows every thickness that stocked sheets can give up to a limit, and
// the fewest sheets for it.
type Stacker struct {
	sheets []shop.Sheet
	unit   int     // common divisor of the sheets' thicknesses, microns
	count  []int32 // count[i]: fewest sheets for i units; 0: cannot be built
	last   []int32 // last[i]: the sheet put on last
}

// NewStacker prepares stacks up to limit mm. Fewest sheets first, thicker sheets
// preferred among equals.
func NewStacker(sheets []shop.Sheet, limit float64) *Stacker {
	s := &Stacker{sheets: slices.Clone(sheets)}
	slices.SortStableFunc(s.sheets, func(a, b shop.Sheet) int {
		if a.Thickness != b.Thickness {
			if a.Thickness > b.Thickness {
				return -1
			}
			return 1
		}
		return 0
	})
	steps := make([]int, len(s.sheets))
	for i, sheet := range s.sheets {
		steps[i] = max(1, int(math.Round(sheet.Thickness/micron)))
		s.unit = gcd(s.unit, steps[i])
	}
	n := int(math.Ceil(limit/micron))/s.unit + steps[0]/s.unit + 1
	s.count, s.last = make([]int32, n+1), make([]int32, n+1)
	for i := 1; i <= n; i++ {
		for k, step := range steps {
			j := i - step/s.unit
			if j < 0 || (j > 0 && s.count[j] == 0) {
				continue
			}
			if c := s.count[j] + 1; s.count[i] == 0 || c < s.count[i] {
				s.count[i], s.last[i] = c, int32(k)
			}
		}
	}
	return s
}

func gcd(a, b int) int {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func (s *Stacker) thickness(i int) float64 { return float64(i*s.unit) * micron }

func (s *Stacker) build(i int, target float64) Stack {
	out := Stack{Target: target, Thickness: s.thickness(i)}
	for i > 0 {
		sheet := s.sheets[s.last[i]]
		out.Sheets = append(out.Sheets, sheet)
		i -= int(math.Round(sheet.Thickness/micron)) / s.unit
	}
	return out
}

// span returns the indices of the thicknesses from lo to hi mm, cut to the table.
func (s *Stacker) span(lo, hi float64) (from, to int) {
	unit := float64(s.unit) * micron
	from = max(1, int(math.Ceil((lo-micron/2)/unit)))
	to = min(len(s.count)-1, int(math.Floor((hi+micron/2)/unit)))
	return from, to
}

// within returns the stack for target ± tolerance with the fewest sheets, the
// nearest among equals.
func (s *Stacker) within(target, tolerance float64) (Stack, bool) {
	best := 0
	from, to := s.span(target-tolerance, target+tolerance)
	for i := from; i <= to; i++ {
		off := math.Abs(s.thickness(i) - target)
		if s.count[i] == 0 {
			continue
		}
		if best == 0 || s.count[i] < s.count[best] || s.count[i] == s.count[best] && off < math.Abs(s.thickness(best)-target) {
			best = i
		}
	}
	if best == 0 {
		return Stack{}, false
	}
	return s.build(best, target), true
}

// atLeast returns the stack of target or more, and less than one sheet more than
// needed, with the fewest sheets, the thinnest among equals.
func (s *Stacker) atLeast(target float64) Stack {
	best := 0
	from, to := s.span(target, target+s.sheets[0].Thickness)
	for i := from; i <= to; i++ {
		if s.count[i] != 0 && (best == 0 || s.count[i] < s.count[best]) {
			best = i
		}
	}
	return s.build(best, target)
}

// nearestOrNext returns the stack for target ± tolerance, or, where there is none,
// the next thicker one, to be surfaced down.
func (s *Stacker) nearestOrNext(target, tolerance float64) Stack {
	if stack, ok := s.within(target, tolerance); ok {
		return stack
	}
	return s.atLeast(target)
}

// nearest returns the buildable thicknesses next below and above target; below is
// 0 when there is none.
func (s *Stacker) nearest(target float64) (below, above float64) {
	thick := s.sheets[0].Thickness
	from, to := s.span(target-thick, target+thick)
	above = math.Inf(1)
	for i := from; i <= to; i++ {
		if s.count[i] == 0 {
			continue
		}
		if t := s.thickness(i); t <= target {
			below = math.Max(below, t)
		} else {
			above = math.Min(above, t)
		}
	}
	return below, above
}
