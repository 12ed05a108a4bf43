package part

import (
	"math"
	"slices"

	"hatchwright/service/quantity"
)

// Parameter is one figure of a configuration that a customer can set: where it
// stands on the wire, its unit, the values that make sense at all (anything
// outside is a slip of the keyboard, refused before any rule is asked), and how
// to reach it.
type Parameter struct {
	Pointer string // RFC 6901, from the document's root
	Unit    quantity.Unit
	Min     float64 // least value, inclusive
	Max     float64 // largest value, inclusive
	Whole   bool    // whole numbers only
	Null    bool    // may be null on the wire; the zero value stands for it

	Number func(*Configuration) *float64 // nil for a choice
	Word   func(*Configuration) *string  // nil for a number
	Words  []string                      // allowed words; nil: any (shop data decides)

	// Applies reports whether the figure means anything for this shape, pattern
	// and duty. nil: always.
	Applies func(*Configuration) bool
}

// Largest figures that make sense. They are far beyond any hatch: a shop's own
// limits are rules with findings.
const (
	maxLength = 100_000.0 // mm
	// MaxDepth is the deepest recess or trunk that can be asked for, mm.
	MaxDepth = 2000.0
	maxDraft = 45.0 // deg
	// leastRain is the least rain that drains are worked out for, mm/h: with none at all
	// a gutter would pass with any drain (shop rule; a drizzle has 0.2 to 0.5, the hundred
	// years' hour on a coast 80 to 120).
	leastRain = 1.0
)

// IsLength reports whether the figure is a length, or a length per hour, and so is
// written in the document's units.
func (p *Parameter) IsLength() bool { return p.IsNumber() && p.Unit.IsLength() }

// IsNumber reports whether the parameter is a number.
func (p *Parameter) IsNumber() bool { return p.Number != nil }

// Used reports whether the parameter applies to c.
func (p *Parameter) Used(c *Configuration) bool { return p.Applies == nil || p.Applies(c) }

func length(pointer string, at func(*Configuration) *float64) Parameter {
	return Parameter{Pointer: pointer, Unit: quantity.Millimeter, Min: 0, Max: maxLength, Number: at}
}

func positive(p Parameter) Parameter {
	// A thousandth of a millimeter is the wire's smallest step; a size of nothing
	// is not a size.
	p.Min = 0.001
	return p
}

func deep(p Parameter) Parameter {
	p = positive(p)
	p.Max = MaxDepth
	return p
}

func angle(pointer string, at func(*Configuration) *float64) Parameter {
	return Parameter{Pointer: pointer, Unit: quantity.Degree, Min: 0, Max: maxDraft, Number: at}
}

func word(pointer string, at func(*Configuration) *string, words ...string) Parameter {
	return Parameter{Pointer: pointer, Word: at, Words: words}
}

func words(patterns []Pattern) (out []string) {
	for _, p := range patterns {
		out = append(out, string(p))
	}
	return out
}

func when(p Parameter, applies func(*Configuration) bool) Parameter {
	p.Applies = applies
	return p
}

// shaped marks a figure that means something for the shapes only that use it.
func shaped(p Parameter) Parameter {
	return when(p, func(c *Configuration) bool { return c.Outline.shape().uses(p.Pointer) })
}

// own marks a figure that means something for the patterns only that name it.
func own(p Parameter) Parameter {
	var users []Pattern
	for _, k := range built {
		if slices.Contains(k.figures(), p.Pointer) {
			users = append(users, k.name())
		}
	}
	return when(p, func(c *Configuration) bool { return slices.Contains(users, c.Pattern) })
}

func duties(names ...string) func(*Configuration) bool {
	return func(c *Configuration) bool { return slices.Contains(names, c.Duty.Kind) }
}

// Parameters lists every figure of a configuration but the arrays, in the order
// of the wire. It is the one table that the wire, the defaults, the mends and the
// limits are read from.
var Parameters = []Parameter{
	word("/pattern", func(c *Configuration) *string { return (*string)(&c.Pattern) }, words(Patterns)...),
	word("/size_basis", func(c *Configuration) *string { return &c.SizeBasis }, BasisRecess, BasisLid, BasisClearOpening, BasisDeckCutout),

	word("/outline/shape", func(c *Configuration) *string { return &c.Outline.Shape }, Shapes...),
	shaped(positive(length("/outline/length", func(c *Configuration) *float64 { return &c.Outline.Length }))),
	shaped(positive(length("/outline/width", func(c *Configuration) *float64 { return &c.Outline.Width }))),
	shaped(length("/outline/corner_radius", func(c *Configuration) *float64 { return &c.Outline.CornerRadius })),
	shaped(positive(length("/outline/diameter", func(c *Configuration) *float64 { return &c.Outline.Diameter }))),
	shaped(positive(length("/outline/width_aft", func(c *Configuration) *float64 { return &c.Outline.WidthAft }))),
	shaped(positive(length("/outline/width_fwd", func(c *Configuration) *float64 { return &c.Outline.WidthFwd }))),

	own(deep(length("/receiver/recess_depth", func(c *Configuration) *float64 { return &c.Receiver.RecessDepth }))),
	own(positive(length("/receiver/ledge_width", func(c *Configuration) *float64 { return &c.Receiver.LedgeWidth }))),
	own(deep(length("/receiver/trunk_height", func(c *Configuration) *float64 { return &c.Receiver.TrunkHeight }))),
	positive(length("/receiver/flange_width", func(c *Configuration) *float64 { return &c.Receiver.FlangeWidth })),
	own(length("/receiver/edge_radius", func(c *Configuration) *float64 { return &c.Receiver.EdgeRadius })),
	own(length("/receiver/root_radius", func(c *Configuration) *float64 { return &c.Receiver.RootRadius })),
	own(length("/receiver/lip_radius", func(c *Configuration) *float64 { return &c.Receiver.LipRadius })),
	own(angle("/receiver/draft_deg", func(c *Configuration) *float64 { return &c.Receiver.Draft })),
	own(angle("/receiver/trunk_draft_deg", func(c *Configuration) *float64 { return &c.Receiver.TrunkDraft })),
	length("/receiver/fitting_clearance", func(c *Configuration) *float64 { return &c.Receiver.FittingClearance }),

	own(length("/lid/gap", func(c *Configuration) *float64 { return &c.Lid.Gap })),
	own(length("/lid/least_gap", func(c *Configuration) *float64 { return &c.Lid.LeastGap })),
	length("/lid/edge_radius", func(c *Configuration) *float64 { return &c.Lid.EdgeRadius }),
	own(angle("/lid/draft_deg", func(c *Configuration) *float64 { return &c.Lid.Draft })),
	own(length("/lid/land_width", func(c *Configuration) *float64 { return &c.Lid.LandWidth })),
	when(word("/lid/core", func(c *Configuration) *string { return &c.Lid.Core }), func(c *Configuration) bool { return c.Laminate.Schedule != ScheduleListed }),

	own(positive(length("/gutter/width", func(c *Configuration) *float64 { return &c.Gutter.Width }))),
	own(deep(length("/gutter/depth", func(c *Configuration) *float64 { return &c.Gutter.Depth }))),
	own(positive(length("/gutter/upstand_width", func(c *Configuration) *float64 { return &c.Gutter.UpstandWidth }))),
	own(length("/gutter/skirt_clearance", func(c *Configuration) *float64 { return &c.Gutter.SkirtClearance })),
	own(Parameter{Pointer: "/gutter/drain_count", Unit: quantity.Count, Min: 1, Max: 16, Whole: true, Number: func(c *Configuration) *float64 { return &c.Gutter.DrainCount }}),
	own(positive(length("/gutter/drain_diameter", func(c *Configuration) *float64 { return &c.Gutter.DrainDiameter }))),
	own(Parameter{Pointer: "/gutter/rain_intensity", Unit: quantity.MillimeterPerHour, Min: leastRain, Max: 10_000, Number: func(c *Configuration) *float64 { return &c.Gutter.RainIntensity }}),
	own(length("/gutter/catchment", func(c *Configuration) *float64 { return &c.Gutter.Catchment })),

	own(deep(length("/coaming/height", func(c *Configuration) *float64 { return &c.Coaming.Height }))),
	own(positive(length("/coaming/top_width", func(c *Configuration) *float64 { return &c.Coaming.TopWidth }))),
	own(deep(length("/coaming/overlap", func(c *Configuration) *float64 { return &c.Coaming.Overlap }))),

	own(positive(length("/plate/overlap", func(c *Configuration) *float64 { return &c.Plate.Overlap }))),
	own(positive(length("/plate/bolt_diameter", func(c *Configuration) *float64 { return &c.Plate.BoltDiameter }))),
	own(positive(length("/plate/edge_distance", func(c *Configuration) *float64 { return &c.Plate.EdgeDistance }))),

	own(word("/seal/tightness", func(c *Configuration) *string { return &c.Seal.Tightness }, Drip, Splash, Immersion)),
	own(length("/seal/thickness", func(c *Configuration) *float64 { return &c.Seal.Thickness })),
	own(length("/seal/width", func(c *Configuration) *float64 { return &c.Seal.Width })),
	own(Parameter{Pointer: "/seal/compression", Unit: quantity.Ratio, Min: 0, Max: 0.99, Number: func(c *Configuration) *float64 { return &c.Seal.Compression }}),

	positive(length("/deck/thickness", func(c *Configuration) *float64 { return &c.Deck.Thickness })),
	nullable(length("/deck/camber_radius", func(c *Configuration) *float64 { return &c.Deck.CamberRadius }), 1, 10_000_000),
	nullable(length("/deck/depth_below", func(c *Configuration) *float64 { return &c.Deck.DepthBelow }), 1, maxLength),

	word("/duty/kind", func(c *Configuration) *string { return &c.Duty.Kind }, NoStep, Step, WorkingDeck, Custom),
	when(positive(length("/duty/waterline_length", func(c *Configuration) *float64 { return &c.Duty.WaterlineLength })), duties(Step, WorkingDeck)),
	when(Parameter{Pointer: "/duty/displacement", Unit: quantity.Kilogram, Min: 1, Max: 1e6, Number: func(c *Configuration) *float64 { return &c.Duty.Displacement }}, duties(WorkingDeck)),
	when(word("/duty/category", func(c *Configuration) *string { return &c.Duty.Category }, "A", "B", "C", "D"), duties(WorkingDeck)),
	when(Parameter{Pointer: "/duty/pressure", Unit: quantity.Kilopascal, Min: 0, Max: 1e4, Number: func(c *Configuration) *float64 { return &c.Duty.Pressure }}, duties(Custom)),
	when(Parameter{Pointer: "/duty/point_load", Unit: quantity.Newton, Min: 0, Max: 1e6, Number: func(c *Configuration) *float64 { return &c.Duty.PointLoad }}, duties(Custom)),
	when(positive(length("/duty/point_radius", func(c *Configuration) *float64 { return &c.Duty.PointRadius })), duties(Custom)),
	when(Parameter{Pointer: "/duty/deflection_factor", Unit: quantity.Ratio, Min: 1, Max: 1e4, Number: func(c *Configuration) *float64 { return &c.Duty.DeflectionFactor }}, duties(Custom)),

	word("/laminate/resin", func(c *Configuration) *string { return &c.Laminate.Resin }),
	word("/laminate/schedule", func(c *Configuration) *string { return &c.Laminate.Schedule }, ScheduleStandard, ScheduleListed, ScheduleAuto),
	when(word("/laminate/prefer", func(c *Configuration) *string { return &c.Laminate.Prefer }, PreferCost, PreferMass), func(c *Configuration) bool { return c.Laminate.Schedule == ScheduleAuto }),

	word("/gelcoat/color", func(c *Configuration) *string { return &c.Gelcoat.Color }),
	word("/gelcoat/surface", func(c *Configuration) *string { return &c.Gelcoat.Surface }, "smooth", "non-skid"),

	{Pointer: "/quantity", Unit: quantity.Count, Min: 1, Max: 200, Whole: true, Number: func(c *Configuration) *float64 { return &c.Quantity }},
	{Pointer: "/needed_by", Null: true, Word: func(c *Configuration) *string { return &c.NeededBy }},
	length("/size_tolerance", func(c *Configuration) *float64 { return &c.SizeTolerance }),
}

func nullable(p Parameter, least, largest float64) Parameter {
	p.Null, p.Min, p.Max = true, least, largest
	return p
}

// byPointer finds a parameter by where it stands.
var byPointer = func() map[string]*Parameter {
	m := make(map[string]*Parameter, len(Parameters))
	for i := range Parameters {
		m[Parameters[i].Pointer] = &Parameters[i]
	}
	return m
}()

// At returns the parameter at pointer, or nil.
func At(pointer string) *Parameter { return byPointer[pointer] }

// Within returns x moved into the parameter's range.
func (p *Parameter) Within(x float64) float64 { return math.Min(math.Max(x, p.Min), p.Max) }
