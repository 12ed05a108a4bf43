package part

import (
	"hatchwright/service/finding"
	"hatchwright/service/profile"
	"hatchwright/service/quantity"
)

// Pattern is the kind of a hatch. The zero Pattern is none.
type Pattern string

// The patterns that the service builds, as on the wire.
const (
	FlushLedge    Pattern = "flush-ledge"
	FlushGutter   Pattern = "flush-gutter"
	RaisedCoaming Pattern = "raised-coaming"
	BoltedPlate   Pattern = "bolted-plate"
)

// pattern is everything that depends on a hatch's pattern. Each is a file of its own;
// what else a hatch is follows from the section that it gives, by [Configuration.HasLeg].
type pattern interface {
	name() Pattern
	// figures are the pointers of those that mean something here and not for every hatch.
	figures() []string
	// complete fills in what the request leaves open and no default of the shop's gives.
	complete(c *Configuration, r Request, s Shop)

	// receiver draws the receiver's section, from the flange inward.
	receiver(c *Configuration, s *section)
	// trunkRise is the height of the trunk's wall, from the seal plane to its foot, mm.
	trunkRise(c *Configuration) float64
	// wall is the height of the wall beside the lid, mm.
	wall(c *Configuration) float64
	// depthBelow is how far the receiver reaches below the deck plane, mm.
	depthBelow(c *Configuration) float64
	// cutout is where the deck is cut, outward from R0, mm.
	cutout(c *Configuration, t Thicknesses) float64
	// lidFace is where the lid's molded face stands at its top, from R0 and in depth, and
	// the height of its wall down to the trim line, mm.
	lidFace(c *Configuration, t Thicknesses) (n, z, h float64)
	// gapEaten is what drafts and radii eat of the gap, mm.
	gapEaten(c *Configuration) float64

	// captions name the plan curves on drawings.
	captions() Captions
	// narrows are the figures that make the opening smaller inside R0, and the code where
	// the first of them closes it.
	narrows() (figures []string, tooMuch string)
	// heightens are the figures that make the lid's wall higher.
	heightens() []string
	// makesRoom are the figures that make room for the receiver's radius of a pointer.
	makesRoom(radius string) []string
	// seatWidth is the figure that gives the seal's flat its width, "" where it has none.
	seatWidth() string
	// noSkirt tells that no height is left for the lid's wall.
	noSkirt(c *Configuration, g Geometry) finding.Finding

	// fit measures how the lid goes down into the receiver.
	fit(c *Configuration, g Geometry) (Fit, error)
	// jams tells that it does not go down freely: what is left, where, what is asked for.
	jams(f Fit) (message string, at float64)
	// widens are the figures that could widen the least clearance, each alone.
	widens(f Fit) (up, down []string)
	// rules asks every rule of shape and fit of a hatch whose sections stand, in the order
	// in which they are told.
	rules(c *Configuration, g *Geometry, t Thicknesses, s Sizes) []finding.Finding
}

// built are the patterns, in the order of the wire: the one place that names them all.
var built = []pattern{flushLedge{}, flushGutter{}, raisedCoaming{}, boltedPlate{}}

// Patterns are those that the service builds, in the order of the wire.
var Patterns = func() (out []Pattern) {
	for _, p := range built {
		out = append(out, p.name())
	}
	return out
}()

// legsOf are the legs of each pattern's receiver.
var legsOf = func() map[Pattern]map[profile.Mark]bool {
	out := map[Pattern]map[profile.Mark]bool{}
	for _, p := range built {
		legs := map[profile.Mark]bool{}
		for _, v := range drawn(p, &Configuration{}, 0, 0) {
			legs[v.Leg] = true
		}
		out[p.name()] = legs
	}
	return out
}()

// pattern is that of the configuration, nil where it is none that is built.
func (c *Configuration) pattern() pattern {
	for _, p := range built {
		if p.name() == c.Pattern {
			return p
		}
	}
	return nil
}

// HasLeg reports whether the pattern's receiver has a leg.
func (c *Configuration) HasLeg(leg profile.Mark) bool { return legsOf[c.Pattern][leg] }

// HasTrunk reports whether the receiver has a trunk through the deck; then it has a seat
// for a seal, and a gap round the lid.
func (c *Configuration) HasTrunk() bool { return c.HasLeg(Trunk) }

// BearsOnSkirt reports whether the lid lies on the seal with its skirt's foot: on a ledge.
// Else the underside of its panel does.
func (c *Configuration) BearsOnSkirt() bool { return c.HasLeg(Ledge) }

// SkirtOutside reports whether the lid's skirt goes down outside the receiver.
func (c *Configuration) SkirtOutside() bool { return c.HasLeg(CoamingWall) }

// DepthBelowDeck is how far the receiver reaches below the deck plane, mm.
func (c *Configuration) DepthBelowDeck() float64 { return c.pattern().depthBelow(c) }

// TrunkRise is the height of the trunk's wall, from the seal plane to its foot, mm.
func (c *Configuration) TrunkRise() float64 { return c.pattern().trunkRise(c) }

// SeatWidth is the pointer of the figure that gives the seal's flat its width, "" where
// there is none.
func (c *Configuration) SeatWidth() string { return c.pattern().seatWidth() }

// Captions name the plan curves of a pattern on drawings.
type Captions struct{ Recess, Lid, Trunk, ClearOpening string }

// Captions are those of the configuration's pattern.
func (c *Configuration) Captions() Captions { return c.pattern().captions() }

// notBuilt refuses a pattern that is none.
func (p Pattern) notBuilt() finding.Finding {
	f := finding.Finding{Code: "pattern.unknown", Severity: finding.Error, Pointer: "/pattern",
		Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: "the patterns that are built"}
	for _, q := range Patterns {
		f.Mends = append(f.Mends, finding.Choose("/pattern", string(q)))
	}
	return f.Say("No hatch of the pattern %q is built.", string(p))
}
