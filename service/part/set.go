package part

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Clone returns a copy that shares nothing with c.
func (c Configuration) Clone() Configuration {
	c.Outline.Corners = slices.Clone(c.Outline.Corners)
	c.Laminate.Lid = slices.Clone(c.Laminate.Lid)
	c.Laminate.Receiver = slices.Clone(c.Laminate.Receiver)
	c.Hardware = slices.Clone(c.Hardware)
	return c
}

// Laminated reports whether c and d ask for the same laminates and gelcoat.
func (c *Configuration) Laminated(d *Configuration) bool {
	return c.Laminate.Resin == d.Laminate.Resin && c.Laminate.Schedule == d.Laminate.Schedule && c.Laminate.Prefer == d.Laminate.Prefer && c.Gelcoat == d.Gelcoat && c.Lid.Core == d.Lid.Core &&
		slices.Equal(c.Laminate.Lid, d.Laminate.Lid) && slices.Equal(c.Laminate.Receiver, d.Laminate.Receiver)
}

// Number returns the number at pointer, in mm or the parameter's unit.
func (c *Configuration) Number(pointer string) (float64, bool) {
	if p := At(pointer); p != nil && p.IsNumber() {
		return *p.Number(c), true
	}
	if i, ok := cornerAt(pointer, len(c.Outline.Corners)); ok {
		return c.Outline.Corners[i].Radius, true
	}
	return 0, false
}

// SetNumber puts a number at pointer.
func (c *Configuration) SetNumber(pointer string, x float64) error {
	if p := At(pointer); p != nil && p.IsNumber() {
		*p.Number(c) = x
		return nil
	}
	if i, ok := cornerAt(pointer, len(c.Outline.Corners)); ok {
		c.Outline.Corners[i].Radius = x
		return nil
	}
	return fmt.Errorf("no number stands at %s", pointer)
}

// SetWord puts a word at pointer.
func (c *Configuration) SetWord(pointer, word string) error {
	if p := At(pointer); p != nil && !p.IsNumber() {
		*p.Word(c) = word
		return nil
	}
	for prefix, list := range map[string][]string{"/laminate/lid/": c.Laminate.Lid, "/laminate/receiver/": c.Laminate.Receiver} {
		if rest, ok := strings.CutPrefix(pointer, prefix); ok {
			if i, err := strconv.Atoi(rest); err == nil && i >= 0 && i < len(list) {
				list[i] = word
				return nil
			}
		}
	}
	if rest, ok := strings.CutPrefix(pointer, "/hardware/"); ok {
		index, field, _ := strings.Cut(rest, "/")
		if i, err := strconv.Atoi(index); err == nil && i >= 0 && i < len(c.Hardware) {
			switch field {
			case "item":
				c.Hardware[i].Item = word
				return nil
			case "edge":
				c.Hardware[i].Edge = word
				return nil
			}
		}
	}
	return fmt.Errorf("no word stands at %s", pointer)
}

func cornerAt(pointer string, n int) (int, bool) {
	rest, ok := strings.CutPrefix(pointer, "/outline/corners/")
	if !ok {
		return 0, false
	}
	index, ok := strings.CutSuffix(rest, "/radius")
	if !ok {
		return 0, false
	}
	i, err := strconv.Atoi(index)
	return i, err == nil && i >= 0 && i < n
}

// Misplaced lists the given figures that mean nothing for the completed
// configuration: the width of a circle, a pressure for a lid that is stepped on.
func Misplaced(r Request, c *Configuration) []string {
	var out []string
	for i := range Parameters {
		if p := &Parameters[i]; r.Has(p.Pointer) && !p.Used(c) {
			out = append(out, p.Pointer)
		}
	}
	arrays := map[string]bool{
		"/outline/corners": c.Outline.Shape != Polygon,
		// A completed automatic schedule shows what was chosen; it may come back.
		"/laminate/lid":      c.Laminate.Schedule == ScheduleStandard,
		"/laminate/receiver": c.Laminate.Schedule == ScheduleStandard,
	}
	for _, pointer := range []string{"/outline/corners", "/laminate/lid", "/laminate/receiver"} {
		if r.Has(pointer) && arrays[pointer] {
			out = append(out, pointer)
		}
	}
	return out
}

// Missing lists the figures that only the customer can give and did not.
func Missing(r Request, c *Configuration) []string {
	var out []string
	for i := range Parameters {
		p := &Parameters[i]
		if asked[p.Pointer] && p.Pointer != "/outline/corner_radius" && p.Used(c) && !r.Has(p.Pointer) {
			out = append(out, p.Pointer)
		}
	}
	if c.Outline.Shape == Polygon && !r.Has("/outline/corners") {
		out = append(out, "/outline/corners")
	}
	if c.Laminate.Schedule == ScheduleListed {
		for _, pointer := range []string{"/laminate/lid", "/laminate/receiver"} {
			if !r.Has(pointer) {
				out = append(out, pointer)
			}
		}
	}
	return out
}
