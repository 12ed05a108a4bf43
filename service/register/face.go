package register

import (
	"encoding/json"
	"fmt"

	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/tooling"
)

// Face is the molding surface of a mold.
type Face struct {
	Part    part.Part
	Kind    string // tooling.Plug or tooling.Cavity
	Pattern part.Pattern
	// Outlines are the plan curves that the surface is swept about, the one whose
	// size counts first, all in one frame.
	Outlines []Curve
	// Section are the corners of the section and their radii. n counts from the
	// first outline.
	Section []profile.Vertex
}

// Curve is an outline with its name.
type Curve struct {
	Name    string
	Outline outline.Outline
}

// Faces are the faces of a hatch's molds, in the order of the molds.
func Faces(c *part.Configuration, g part.Geometry, molds []tooling.Mold) []Face {
	out := make([]Face, len(molds))
	for i, m := range molds {
		f := Face{Part: m.Part, Kind: m.Kind, Pattern: c.Pattern}
		if m.Part == part.Lid {
			f.Outlines = []Curve{{"lid", g.Outlines.Lid}}
			f.Section = g.LidProfile.Vertices()
			// The section stands about the recess; the lid's own outline is at its
			// top corner.
			top := g.Corner(part.LidEdge)
			for k := range f.Section {
				f.Section[k].At = profile.Point{N: f.Section[k].At.N - top.N, Z: f.Section[k].At.Z - top.Z}
			}
		} else {
			f.Outlines = []Curve{{"recess", g.Outlines.Recess}, {"flange", g.Outlines.Flange}}
			if c.HasTrunk() {
				// Its corners may be rounder than the recess, set in, would give.
				f.Outlines = append(f.Outlines, Curve{"trunk", g.Outlines.Trunk})
			}
			f.Section = g.ReceiverProfile.Vertices()
		}
		for k := range f.Section { // what is kept are figures: the class says what they are
			f.Section[k].Corner, f.Section[k].Leg = 0, 0
		}
		out[i] = f
	}
	return out
}

// Class is what molds must have in common to be compared at all.
func (f Face) Class() string { return string(f.Part) + "/" + f.Kind + "/" + string(f.Pattern) }

// Size is the box round the first outline, mm: the long side and the short one.
func (f Face) Size() (long, short float64) {
	if len(f.Outlines) == 0 {
		return 0, 0
	}
	o := f.Outlines[0].Outline
	l, w := o.Length(), o.Width()
	return max(l, w), min(l, w)
}

// LeastRadius is the smallest corner of the first outline, mm.
func (f Face) LeastRadius() float64 {
	if len(f.Outlines) == 0 {
		return 0
	}
	return f.Outlines[0].Outline.MinCornerRadius()
}

// written is a face as a document.
type written struct {
	Part     part.Part       `json:"part"`
	Kind     string          `json:"kind"`
	Pattern  part.Pattern    `json:"pattern"`
	Outlines []writtenCurve  `json:"outlines"`
	Section  []writtenCorner `json:"section"`
}

type writtenCurve struct {
	Name    string `json:"name"`
	Outline string `json:"outline"` // text form of package outline
}

type writtenCorner struct {
	N      float64 `json:"n"`
	Z      float64 `json:"z"`
	Radius float64 `json:"radius"`
	Name   string  `json:"name,omitempty"`
}

// MarshalJSON writes the face as it is kept; figures come back as the same
// numbers.
func (f Face) MarshalJSON() ([]byte, error) {
	w := written{Part: f.Part, Kind: f.Kind, Pattern: f.Pattern}
	for _, c := range f.Outlines {
		w.Outlines = append(w.Outlines, writtenCurve{c.Name, c.Outline.String()})
	}
	for _, v := range f.Section {
		w.Section = append(w.Section, writtenCorner{v.At.N, v.At.Z, v.Radius, v.Name})
	}
	return json.Marshal(w)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (f *Face) UnmarshalJSON(b []byte) error {
	var w written
	if err := json.Unmarshal(b, &w); err != nil {
		return fmt.Errorf("mold face: %w", err)
	}
	*f = Face{Part: w.Part, Kind: w.Kind, Pattern: w.Pattern}
	for i, c := range w.Outlines {
		o, err := outline.Parse(c.Outline)
		if err != nil {
			return fmt.Errorf("mold face: outlines/%d: %w", i, err)
		}
		f.Outlines = append(f.Outlines, Curve{c.Name, o})
	}
	for _, v := range w.Section {
		f.Section = append(f.Section, profile.Vertex{At: profile.Point{N: v.N, Z: v.Z}, Radius: v.Radius, Name: v.Name})
	}
	return nil
}
