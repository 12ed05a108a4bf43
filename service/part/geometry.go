package part

import (
	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

// Thicknesses are what the laminates take up, mm. They come from the plies.
type Thicknesses struct {
	Receiver float64 // t_r
	Skirt    float64 // t_l, the lid's plies without its core
	Panel    float64 // the lid's panel with its core
}

// Outlines are the plan curves of one hatch, all offsets of one another.
type Outlines struct {
	Recess       outline.Outline // R0
	Lid          outline.Outline // L0, at deck level
	Trunk        outline.Outline // at the ledge, T0
	ClearOpening outline.Outline // the trunk's foot, TB
	Flange       outline.Outline // the flange's outer edge
	DeckCutout   outline.Outline // the hole to cut in the deck
}

// Band is a stretch of a molded surface: a profile swept round an outline.
type Band struct {
	Round   outline.Outline
	Profile profile.Profile
}

// Surface is one molded surface: bands, joined by flat rings where the outline
// changes, and closed by a flat cap or open.
type Surface struct {
	Bands []Band
	// Area is the molded surface, mm2.
	Area float64
	// EnclosedVolume is the integral of the plan area over the depth, mm3.
	EnclosedVolume float64
}

// Stage says how far a hatch's shape stands: a rule that fails hides those of
// later stages.
type Stage int

// The stages, each with what stands.
const (
	StageNone     Stage = iota
	StageRecess         // R0
	StageOutlines       // every plan outline
	StageSections       // both sections
	StageWhole          // the fit is measured, every rule was asked
)

// Geometry is one hatch's shape in numbers.
type Geometry struct {
	Stage       Stage
	Thicknesses Thicknesses
	Outlines    Outlines
	// ReceiverProfile and LidProfile are the sections about R0.
	ReceiverProfile profile.Profile
	LidProfile      profile.Profile
	Receiver        Surface
	Lid             Surface
	Fit             Fit
	SkirtHeight     float64 // h
	SealThickness   float64 // s, compressed
	LedgeFlat       float64 // flat that the seal lies on, between its radii
	SeatOuter       float64 // the flat's outer and inner ends, offsets from R0
	SeatInner       float64
	SeatCover       float64 // width of the ledge's flat under the lid's foot
	CamberGap       float64 // gap at the middle of the flange's span
	// TrunkRounded is true where the trunk's corners were re-rounded to
	// LeastTrunkRadius.
	TrunkRounded bool
	// Drain is what a gutter's drains do; nil for other patterns.
	Drain *Drain
	// Bolts are where a bolted plate is drilled, in plan.
	Bolts []outline.Point
	// BoltPitch is the distance between bolts along their line, mm.
	BoltPitch float64
}

// lidEdge is where the lid's face stands at its top, before the edge is rounded: the
// offset from R0, mm.
func (g *Geometry) lidEdge() float64 { return g.Corner(LidEdge).N }

// DeckCut is where the deck is cut, outward from R0, mm.
func (g *Geometry) DeckCut(c *Configuration) float64 { return c.pattern().cutout(c, g.Thicknesses) }

// Corner returns a corner of the receiver's or the lid's section before rounding,
// in (n, z) about R0, mm; the zero point where the pattern has none.
func (g *Geometry) Corner(m profile.Mark) profile.Point {
	if v, ok := g.ReceiverProfile.Corner(m); ok {
		return v.At
	}
	v, _ := g.LidProfile.Corner(m)
	return v.At
}
