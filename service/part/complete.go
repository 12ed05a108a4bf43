package part

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"hatchwright/service/quantity"
)

// Defaults are a shop's figures for what a customer leaves open, by pointer:
// numbers in mm and deg, words for choices.
type Defaults map[string]any

// Misfit is a default that does not fit the table of parameters.
type Misfit struct {
	Pointer string // of the figure
	Code    string // unknown_field, wrong_type, out_of_range, unknown_word or missing
	Message string
	Range   string // that the figure keeps to, "" where it has none
}

// Misfits tells which defaults do not fit the table of parameters: pointers that are
// not known, other kinds, values out of range, and parameters that are neither
// computed nor nullable and have no default. Known ones come in the table's order,
// the others by pointer.
func (d Defaults) Misfits() []Misfit {
	var out []Misfit
	for _, pointer := range slices.Sorted(maps.Keys(d)) {
		if At(pointer) == nil {
			out = append(out, Misfit{Pointer: pointer, Code: "unknown_field", Message: "This is not a figure of a configuration."})
		}
	}
	for i := range Parameters {
		p := &Parameters[i]
		value, given := d[p.Pointer]
		if !given {
			if !p.Null && !computed[p.Pointer] && !asked[p.Pointer] {
				out = append(out, Misfit{Pointer: p.Pointer, Code: "missing", Message: "This must be given."})
			}
			continue
		}
		if !p.IsNumber() {
			if w, ok := value.(string); !ok || !p.allows(w) || utf8.RuneCountInString(w) > longestWord {
				m := Misfit{Pointer: p.Pointer, Code: "unknown_word", Message: fmt.Sprintf("This must be a word of up to %d characters.", longestWord)}
				if p.Words != nil {
					m.Message = fmt.Sprintf("This must be one of %q.", p.Words)
				}
				out = append(out, m)
			}
			continue
		}
		x, ok := value.(float64)
		kept := strings.TrimSpace(fmt.Sprintf("%s to %s %s", plain(p.Min), plain(p.Max), p.Unit))
		switch {
		case !ok:
			out = append(out, Misfit{Pointer: p.Pointer, Code: "wrong_type", Message: "This must be a number.", Range: kept})
		case !(x >= p.Min && x <= p.Max):
			out = append(out, Misfit{Pointer: p.Pointer, Code: "out_of_range", Message: fmt.Sprintf("This must be %s, not %v.", kept, x), Range: kept})
		case p.Whole && x != math.Trunc(x):
			out = append(out, Misfit{Pointer: p.Pointer, Code: "wrong_type", Message: fmt.Sprintf("This must be a whole number, not %v.", x), Range: kept})
		}
	}
	return out
}

// longestWord is how long a word of a configuration may be.
const longestWord = 200

func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

func (p *Parameter) allows(word string) bool {
	if p.Words == nil {
		return true
	}
	for _, w := range p.Words {
		if w == word {
			return true
		}
	}
	return false
}

// asked are the figures that only the customer can give.
var asked = func() map[string]bool {
	out := map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true}
	for _, s := range shapes {
		for _, size := range s.sizes {
			out[size] = true
		}
	}
	return out
}()

// computed are the figures whose default follows from the others.
var computed = map[string]bool{
	"/receiver/draft_deg": true, "/receiver/trunk_draft_deg": true, "/lid/draft_deg": true, "/lid/core": true,
}

// Shop is what completion needs to know of the shop.
type Shop struct {
	Defaults Defaults
	Tapers   []float64 // drafts of the tapered bits in the crib, deg
	Core     string    // of the standard lid
	// Panel returns the thickness of the lid's panel, mm, once its laminate is
	// chosen.
	Panel func(*Configuration) float64
	// Margin returns how much more than the least gap a hatch's clearance is to be drawn,
	// mm, by its longest side and how many sides vary on their own: what keeps it from jamming with the shop's
	// errors. nil: the default gap is as it stands.
	Margin func(c *Configuration, side float64, sides int) float64
}

// Complete fills in what the request leaves open: first from the shop's
// defaults, then by rule where the default follows from other figures. A corner
// radius that is not given is 0.
//
// The default gap is the shop's, or what the lid needs to go down freely where that is more, see freeGap.
//
// The default draft of a wall is that of the least tapered bit that meets the
// guide for its height; with no such bit it is none up to 25 mm of wall, for
// square shallow walls release with wax and a film, and 2 deg beyond.
func Complete(r Request, s Shop) Configuration {
	c := r.Configuration
	for i := range Parameters {
		p := &Parameters[i]
		if r.Has(p.Pointer) {
			continue
		}
		value, ok := s.Defaults[p.Pointer]
		if !ok {
			continue
		}
		if p.IsNumber() {
			*p.Number(&c) = c.step(p, value.(float64))
		} else {
			*p.Word(&c) = value.(string)
		}
	}
	if !r.Has("/lid/core") {
		c.Lid.Core = s.Core
		if c.Laminate.Schedule == ScheduleAuto {
			c.Lid.Core = AutoCore
		}
	}
	p := c.pattern()
	if p == nil {
		return c
	}
	p.complete(&c, r, s)
	draft := func(pointer string, height float64) {
		if !r.Has(pointer) {
			*At(pointer).Number(&c) = defaultDraft(height, s.Tapers)
		}
	}
	draft("/receiver/draft_deg", p.wall(&c))
	draft("/receiver/trunk_draft_deg", p.trunkRise(&c))
	draft("/lid/draft_deg", c.wallHeight())
	if !r.Has("/lid/gap") && s.Margin != nil && c.HasTrunk() {
		c.Lid.Gap = c.freeGap(s)
	}
	return c
}

const (
	// widestDefault is the widest gap that is given unasked, mm (common practice: 3 to
	// 5); what needs more is told, with what else would mend it.
	widestDefault = 5.0
	// gapStep is what such gaps are rounded up to, mm; in inches gapStepInch: sizes
	// that are set with a rule.
	gapStep     = 0.5
	gapStepInch = 0.02
)

// freeGap is the default gap: the shop's, or the least that a lid of this hatch goes down
// with freely and hardly ever jams with the shop's errors, mm, rounded up and at most
// widestDefault.
//
//	g = least gap + margin + what drafts and root radius eat
func (c *Configuration) freeGap(s Shop) float64 {
	side, sides := c.Outline.extent()
	if inset, _ := c.openingInset(); c.SizeBasis == BasisClearOpening && inset > 0 {
		side += 2 * inset
	}
	need := c.Lid.LeastGap + s.Margin(c, side, sides) + c.pattern().gapEaten(c)
	if need <= c.Lid.Gap {
		return c.Lid.Gap
	}
	step := gapStep
	if c.Units == quantity.Inch {
		step = c.Units.Millimeters(gapStepInch)
	}
	if !(need < widestDefault) {
		need = math.Max(c.Lid.Gap, widestDefault)
	}
	return c.step(At("/lid/gap"), math.Ceil(need/step-stepSlack)*step)
}

// stepSlack keeps a gap that is on its step there, against float64 noise.
const stepSlack = 1e-9

// step rounds a default length to the wire's step, so that what is worked with is
// what is shown.
func (c *Configuration) step(p *Parameter, x float64) float64 {
	if !p.IsLength() {
		return x
	}
	return c.Units.Millimeters(quantity.Round(c.Units.Length(x), c.Units.Places(), quantity.Nearest))
}

func defaultDraft(height float64, tapers []float64) float64 {
	guide, best := DraftGuide(height), math.Inf(1)
	for _, t := range tapers {
		if t >= guide && t < best {
			best = t
		}
	}
	switch {
	case !math.IsInf(best, 1):
		return best
	case height <= 25:
		return 0
	}
	return 2
}

// wallHeight is the height of the lid's wall that draft is chosen for, mm, before
// any laminate is known.
func (c *Configuration) wallHeight() float64 {
	_, _, h := c.pattern().lidFace(c, Thicknesses{})
	return h
}
