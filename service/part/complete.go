package part

import (
	"fmt"
	"math"

	"hatchwright/service/quantity"
)

// Defaults are a shop's figures for what a customer leaves open, by pointer:
// numbers in mm and deg, words for choices.
type Defaults map[string]any

// Check tells whether the defaults fit the table of parameters: known pointers,
// the right kinds, values within range. Every parameter that is neither computed
// nor nullable must have a default.
func (d Defaults) Check() error {
	for pointer, value := range d {
		p := At(pointer)
		if p == nil {
			return fmt.Errorf("defaults: %s is not a figure of a configuration", pointer)
		}
		if p.IsNumber() {
			x, ok := value.(float64)
			if !ok || !(x >= p.Min && x <= p.Max) {
				return fmt.Errorf("defaults: %s: %v is not a number from %g to %g", pointer, value, p.Min, p.Max)
			}
			continue
		}
		w, ok := value.(string)
		if !ok || !p.allows(w) {
			return fmt.Errorf("defaults: %s: %v is not one of %v", pointer, value, p.Words)
		}
	}
	for i := range Parameters {
		p := &Parameters[i]
		if p.Null || computed[p.Pointer] || asked[p.Pointer] {
			continue
		}
		if _, ok := d[p.Pointer]; !ok {
			return fmt.Errorf("defaults: %s is missing", p.Pointer)
		}
	}
	return nil
}

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
var asked = map[string]bool{
	"/pattern": true, "/outline/shape": true, "/outline/length": true, "/outline/width": true, "/outline/corner_radius": true,
	"/outline/diameter": true, "/outline/width_aft": true, "/outline/width_fwd": true,
}

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
}

// Complete fills in what the request leaves open: first from the shop's
// defaults, then by rule where the default follows from other figures. A corner
// radius that is not given is 0.
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
	if c.Pattern == FlushGutter && !r.Has("/receiver/recess_depth") && s.Panel != nil {
		// The panel's underside presses the seal on the upstand: D = t_p + s.
		c.Receiver.RecessDepth = c.step(At("/receiver/recess_depth"), s.Panel(&c)+c.Seal.Compressed())
	}
	draft := func(pointer string, height float64) {
		if !r.Has(pointer) {
			*At(pointer).Number(&c) = defaultDraft(height, s.Tapers)
		}
	}
	wall := c.Receiver.RecessDepth
	if c.Pattern == RaisedCoaming {
		wall = c.Coaming.Height
	}
	draft("/receiver/draft_deg", wall)
	draft("/receiver/trunk_draft_deg", c.trunkRise())
	draft("/lid/draft_deg", c.wallHeight())
	return c
}

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
	_, _, h := c.lidFace(Thicknesses{})
	return h
}
