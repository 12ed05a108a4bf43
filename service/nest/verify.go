package nest

import (
	"fmt"
	"math"
	"sort"
)

// tolerance in mm of the verifier. Placements come from a grid of 1e-6 mm and
// each is off by at most a step; errors do not add up along a sheet.
const tolerance = 1e-5

// LayoutError says what is wrong with a plan.
type LayoutError struct {
	Layout int    // index of the sheet, or -1 when the plan as a whole is meant
	Reason string // what is wrong, with names and figures
}

func (e *LayoutError) Error() string {
	if e.Layout < 0 {
		return "nest: plan: " + e.Reason
	}
	return fmt.Sprintf("nest: layout %d: %s", e.Layout, e.Reason)
}

// Verify checks a plan from its placements alone; it shares nothing with the
// search that made it and does not look at the cut list. It checks that
//
//   - every panel is placed or named in Unplaced as often as asked for, in its own size and
//     turned only where allowed,
//   - every panel lies within the trimmed sheet,
//   - between any two panels of a sheet there is a kerf's width in x or in y,
//   - the panels of a sheet, with the offcut among them, can be parted by cuts from edge to edge: recursively, there
//     is a line with a kerf's room that no panel crosses (if one such line exists
//     the order of cuts does not matter, as any cut keeps the others possible),
//   - utilization, bound and status agree with the placements.
//
// The error is a *LayoutError.
func Verify(plan Plan, panels []Panel, r Rules) error {
	count := make([]int, len(panels))
	for n, lay := range plan.Layouts {
		if err := verifyLayout(lay, panels, r, count); err != "" {
			return &LayoutError{n, err}
		}
	}
	missing := map[string]int{}
	for _, q := range plan.Unplaced {
		missing[q.Name] += q.Quantity
	}
	wanted := map[string]int{}
	for i, q := range panels {
		if count[i] > q.Quantity {
			return &LayoutError{-1, fmt.Sprintf("panel %q is placed %d times, wanted %d", q.Name, count[i], q.Quantity)}
		}
		wanted[q.Name] += q.Quantity - count[i]
	}
	for name, m := range wanted {
		if missing[name] != m {
			return &LayoutError{-1, fmt.Sprintf("%d of panel %q are not placed, but %d are said to be missing", m, name, missing[name])}
		}
	}
	for name := range missing {
		if _, ok := wanted[name]; !ok {
			return &LayoutError{-1, fmt.Sprintf("panel %q is said to be missing but was never asked for", name)}
		}
	}
	return verifyClaims(plan)
}

func verifyClaims(plan Plan) error {
	sheets := len(plan.Layouts)
	complete := len(plan.Unplaced) == 0
	switch {
	case complete && sheets < plan.Bound:
		return &LayoutError{-1, fmt.Sprintf("%d sheets are fewer than the bound of %d", sheets, plan.Bound)}
	case complete && plan.AreaBound > float64(sheets)*(1+1e-9):
		return &LayoutError{-1, fmt.Sprintf("%d sheets hold less than the area of %g sheets", sheets, plan.AreaBound)}
	case plan.Status == Optimal && (!complete || sheets != plan.Bound):
		return &LayoutError{-1, fmt.Sprintf("called optimal with %d sheets, a bound of %d and %d kinds of panel unplaced", sheets, plan.Bound, len(plan.Unplaced))}
	case plan.Status == Infeasible && complete:
		return &LayoutError{-1, "called infeasible although every panel is placed"}
	}
	return nil
}

func verifyLayout(lay Layout, panels []Panel, r Rules, count []int) string {
	s := lay.Sheet
	box := make([][4]float64, 0, len(lay.Placements)+1)
	area := 0.0
	for _, p := range lay.Placements {
		if p.Index < 0 || p.Index >= len(panels) || panels[p.Index].Name != p.Panel {
			return fmt.Sprintf("panel %q is not panel %d of those asked for", p.Panel, p.Index)
		}
		q := panels[p.Index]
		count[p.Index]++
		if p.Turned && !q.Turn {
			return fmt.Sprintf("panel %q is turned but may not be", p.Panel)
		}
		l, w := q.Length, q.Width
		if p.Turned {
			l, w = w, l
		}
		if p.Length != l || p.Width != w {
			return fmt.Sprintf("panel %q is placed as %g x %g, should be %g x %g", p.Panel, p.Length, p.Width, l, w)
		}
		if !inside(p.X, p.Y, l, w, s, r.Trim) {
			return fmt.Sprintf("panel %q at %g, %g reaches over the trimmed edge", p.Panel, p.X, p.Y)
		}
		box = append(box, [4]float64{p.X, p.Y, p.X + l, p.Y + w})
		area += l * w
	}
	if u := area / (s.Length * s.Width); !(math.Abs(u-lay.Utilization) <= 1e-9) {
		return fmt.Sprintf("utilization is %g, should be %g", lay.Utilization, u)
	}
	if o := lay.Offcut; o != (Offcut{}) {
		if !(o.Length > 0 && o.Width > 0) || !inside(o.X, o.Y, o.Length, o.Width, s, r.Trim) {
			return fmt.Sprintf("offcut %+v is not within the trimmed sheet", o)
		}
		box = append(box, [4]float64{o.X, o.Y, o.X + o.Length, o.Y + o.Width})
	}
	gap := r.Kerf - tolerance
	for i, a := range box {
		for _, b := range box[:i] {
			if max(a[0]-b[2], b[0]-a[2], a[1]-b[3], b[1]-a[3]) < gap {
				return fmt.Sprintf("parts at %g, %g and %g, %g are less than a kerf apart", a[0], a[1], b[0], b[1])
			}
		}
	}
	if !separable(box, gap) {
		return "the panels cannot be parted by cuts from edge to edge"
	}
	return ""
}

func inside(x, y, l, w float64, s Sheet, trim float64) bool {
	return x >= trim-tolerance && y >= trim-tolerance && x+l <= s.Length-trim+tolerance && y+w <= s.Width-trim+tolerance
}

// separable tells whether guillotine cuts of the given width can part the boxes.
func separable(box [][4]float64, gap float64) bool {
	if len(box) < 2 {
		return true
	}
	for d := range 2 {
		sort.Slice(box, func(i, j int) bool { return box[i][d] < box[j][d] })
		end := box[0][d+2]
		for i := 1; i < len(box); i++ {
			if box[i][d]-end >= gap {
				return separable(box[:i], gap) && separable(box[i:], gap)
			}
			end = max(end, box[i][d+2])
		}
	}
	return false
}
