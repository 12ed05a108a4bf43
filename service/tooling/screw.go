package tooling

import (
	"errors"
	"fmt"
	"math"

	"hatchwright/service/outline"
	"hatchwright/service/part"
)

// Screws hold one sheet of a mold to the one below: drilled and countersunk
// first, driven from above before the next sheet goes on.
type Screws struct {
	Part      part.Part
	Board     Board
	Sheet     int     // of the board's stack, 1 at the bottom
	Length    float64 // mm: through this sheet and two thirds into the one below
	Edge      float64 // of the line of screws from the nearest edge, mm
	Pitch     float64 // along the line, mm
	Line      *outline.Outline
	Positions []outline.Point
}

// screwDepth is the share of the sheet below that a screw goes into (common
// practice, no source).
const screwDepth = 2.0 / 3

// screws places the screws of a mold.
//
//	length = t_top + 2/3 t_below
//
// The line runs inside a block's edge and outside a cavity's hole, ScrewEdge from
// it on the sheet's upper face. Screws are evenly spaced along it, at most ScrewPitch
// apart; sheet by sheet they start half a pitch further on, so that none meets
// one below.
func (c *Crib) screws(m *Mold, lean func(*Mold, *Layer) float64, into []Screws) ([]Screws, error) {
	base := m.Layer(BaseBoard).Stack
	ground := base.Sheets[len(base.Sheets)-1].Thickness
	last := ground
	for k := range m.Layers {
		l := &m.Layers[k]
		if l.Board == BaseBoard {
			continue
		}
		if m.Kind == Cavity {
			last = ground // hole boards and the block inside them both stand on the base
		}
		height, draft := 0.0, lean(m, l)
		var line *outline.Outline
		var run []outline.Segment
		edge, length := 0.0, 0.0
		for i, sheet := range l.Stack.Sheets {
			height += sheet.Thickness
			if i == 0 || draft > 0 {
				// A leaning wall moves the line from sheet to sheet.
				edge = c.practice.ScrewEdge
				o, err := c.screwLine(l, height*draft, &edge)
				if err != nil {
					return into, fmt.Errorf("screws of the %s mold's %s: %w", m.Part, l.Board, err)
				}
				line, run, length = &o, o.Segments(), o.Perimeter()
			}
			n := max(c.practice.ScrewLeast, int(math.Ceil(length/c.practice.ScrewPitch-lengthSlack)))
			s := Screws{Part: m.Part, Board: l.Board, Sheet: i + 1, Length: sheet.Thickness + screwDepth*last, Edge: edge, Pitch: length / float64(n), Line: line}
			s.Positions = along(run, s.Pitch, n, float64(i%2)/2)
			into = append(into, s)
			last = sheet.Thickness
		}
	}
	return into, nil
}

// screwLine is the line of screws: in from a block's edge, out from a hole's, along
// the middle of a ring. A block too narrow for the distance has it halfway to its
// middle.
func (c *Crib) screwLine(l *Layer, lean float64, distance *float64) (outline.Outline, error) {
	switch {
	case l.Inside != nil:
		// Both edges are offsets of one another: the distance of any point of one
		// from the other is the ring's width.
		p, _ := l.Inside.Segments()[0].At(0.5)
		*distance = math.Min(*distance, -l.Outline.Distance(p)/2-lean)
	case l.Board.IsHole():
		return l.Outline.Offset(lean + *distance)
	}
	line, err := l.Outline.Offset(-(lean + *distance))
	var collapse *outline.CollapseError
	if errors.As(err, &collapse) {
		*distance = (collapse.Largest - lean) / 2
		return l.Outline.Offset(-(lean + *distance))
	}
	return line, err
}

// along returns n points a pitch apart along a closed curve, the first a quarter of
// a pitch and the given share of one from its start.
func along(segments []outline.Segment, pitch float64, n int, share float64) []outline.Point {
	out := make([]outline.Point, 0, n)
	start, i := 0.0, 0
	for k := range n {
		s := (float64(k) + 0.25 + share) * pitch
		for i+1 < len(segments) && start+segments[i].Length() < s {
			start += segments[i].Length()
			i++
		}
		p, _ := segments[i].At((s - start) / segments[i].Length())
		out = append(out, p)
	}
	return out
}
