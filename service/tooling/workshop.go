package tooling

import (
	"fmt"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// Workshop is all that is made before the first laminate: the molds, the
// templates and router steps that shape them, what is sawn from which sheet, and
// the screws.
type Workshop struct {
	Molds []Mold
	RouterPlan
	CutList
	Screws    []Screws
	Tolerance Tolerance
}

// Mold returns the mold of a part, nil where there is none.
func (w *Workshop) Mold(of part.Part) *Mold {
	for i := range w.Molds {
		if w.Molds[i].Part == of {
			return &w.Molds[i]
		}
	}
	return nil
}

// Build works out the workshop of a hatch whose geometry stands. Errors are shop
// data that lacks what is needed.
func Build(c *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker, crib *Crib) (Workshop, error) {
	var w Workshop
	var err error
	size := crib.moldScale(c, d)
	if err = scale(&g, size); err != nil {
		return w, fmt.Errorf("molds made larger by %g: %w", size, err)
	}
	if w.Molds, err = Molds(c, g, d, s); err != nil {
		return w, err
	}
	needs, err := crib.outlinesNeeded(c, &g, size, stacksOf(c, g.SkirtHeight, d.Profile.Tooling, s))
	if err != nil {
		return w, fmt.Errorf("outlines: %w", err)
	}
	groups := crib.plan(needs)
	if w.RouterPlan, err = crib.routerPlan(needs, groups); err != nil {
		return w, fmt.Errorf("router plan: %w", err)
	}
	crib.roundOvers(&w.RouterPlan, c, w.Molds)
	w.BitChanges = changes(w.Steps)
	if w.CutList, err = crib.cutList(w.Molds, w.Templates, d, s); err != nil {
		return w, fmt.Errorf("cut list: %w", err)
	}
	lean := func(m *Mold, l *Layer) float64 { return tangent(wallDraft(c, m, l)) }
	for i := range w.Molds {
		if w.Screws, err = crib.screws(&w.Molds[i], lean, w.Screws); err != nil {
			return w, err
		}
	}
	w.Tolerance = crib.fitTolerance(c, &g, d, size, jointOf(c, needs, groups))
	return w, nil
}

// wallDraft is the draft of a layer's wall, deg.
func wallDraft(c *part.Configuration, m *Mold, l *Layer) float64 {
	switch {
	case m.Part == part.Lid:
		return c.Lid.Draft
	case l.Board == TrunkBlock:
		return c.Receiver.TrunkDraft
	}
	return c.Receiver.Draft
}
