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

func when(p Parameter, applies func(*Configuration) bool) Parameter {
	p.Applies = applies
	return p
}

func shapes(names ...string) func(*Configuration) bool {
	return func(c *Configuration) bool { return slices.Contains(names, c.Outline.Shape) }
}

func patterns(names ...Pattern) func(*Configuration) bool {
	return func(c *Configuration) bool { return slices.Contains(names, c.Pattern) }
}

func duties(names ...string) func(*Configuration) bool {
	return func(c *Configuration) bool { return slices.Contains(names, c.Duty.Kind) }
}

// Parameters lists every figure of a configuration but the arrays, in the order
// of the wire. It is the one table that the wire, the defaults, the mends and the
// limits are read from.
var Parameters = []Parameter{
	word("/pattern", func(c *Configuration) *string { return (*string)(&c.Pattern) }, patternWords()...),
	word("/size_basis", func(c *Configuration) *string { return &c.SizeBasis }, BasisRecess, BasisLid, BasisClearOpening, BasisDeckCutout),

	word("/outline/shape", func(c *Configuration) *string { return &c.Outline.Shape }, Rectangle, Obround, Circle, Dee, Taper, Polygon),
	when(positive(length("/outline/length", func(c *Configuration) *float64 { return &c.Outline.Length })), shapes(Rectangle, Obround, Dee, Taper)),
	when(positive(length("/outline/width", func(c *Configuration) *float64 { return &c.Outline.Width })), shapes(Rectangle, Obround, Dee)),
	when(length("/outline/corner_radius", func(c *Configuration) *float64 { return &c.Outline.CornerRadius }), shapes(Rectangle, Dee, Taper)),
	when(positive(length("/outline/diameter", func(c *Configuration) *float64 { return &c.Outline.Diameter })), shapes(Circle)),
	when(positive(length("/outline/width_aft", func(c *Configuration) *float64 { return &c.Outline.WidthAft })), shapes(Taper)),
	when(positive(length("/outline/width_fwd", func(c *Configuration) *float64 { return &c.Outline.WidthFwd })), shapes(Taper)),

	when(deep(length("/receiver/recess_depth", func(c *Configuration) *float64 { return &c.Receiver.RecessDepth })), patterns(FlushLedge, FlushGutter)),
	when(positive(length("/receiver/ledge_width", func(c *Configuration) *float64 { return &c.Receiver.LedgeWidth })), patterns(FlushLedge)),
	when(deep(length("/receiver/trunk_height", func(c *Configuration) *float64 { return &c.Receiver.TrunkHeight })), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	positive(length("/receiver/flange_width", func(c *Configuration) *float64 { return &c.Receiver.FlangeWidth })),
	when(length("/receiver/edge_radius", func(c *Configuration) *float64 { return &c.Receiver.EdgeRadius }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(length("/receiver/root_radius", func(c *Configuration) *float64 { return &c.Receiver.RootRadius }), patterns(FlushLedge, FlushGutter)),
	when(length("/receiver/lip_radius", func(c *Configuration) *float64 { return &c.Receiver.LipRadius }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(angle("/receiver/draft_deg", func(c *Configuration) *float64 { return &c.Receiver.Draft }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(angle("/receiver/trunk_draft_deg", func(c *Configuration) *float64 { return &c.Receiver.TrunkDraft }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	length("/receiver/fitting_clearance", func(c *Configuration) *float64 { return &c.Receiver.FittingClearance }),

	when(length("/lid/gap", func(c *Configuration) *float64 { return &c.Lid.Gap }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(length("/lid/least_gap", func(c *Configuration) *float64 { return &c.Lid.LeastGap }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	length("/lid/edge_radius", func(c *Configuration) *float64 { return &c.Lid.EdgeRadius }),
	when(angle("/lid/draft_deg", func(c *Configuration) *float64 { return &c.Lid.Draft }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(length("/lid/land_width", func(c *Configuration) *float64 { return &c.Lid.LandWidth }), patterns(FlushLedge)),
	when(word("/lid/core", func(c *Configuration) *string { return &c.Lid.Core }), func(c *Configuration) bool { return c.Laminate.Schedule != ScheduleListed }),

	when(positive(length("/gutter/width", func(c *Configuration) *float64 { return &c.Gutter.Width })), patterns(FlushGutter)),
	when(deep(length("/gutter/depth", func(c *Configuration) *float64 { return &c.Gutter.Depth })), patterns(FlushGutter)),
	when(positive(length("/gutter/upstand_width", func(c *Configuration) *float64 { return &c.Gutter.UpstandWidth })), patterns(FlushGutter)),
	when(length("/gutter/skirt_clearance", func(c *Configuration) *float64 { return &c.Gutter.SkirtClearance }), patterns(FlushGutter)),
	when(Parameter{Pointer: "/gutter/drain_count", Unit: quantity.Count, Min: 1, Max: 16, Whole: true, Number: func(c *Configuration) *float64 { return &c.Gutter.DrainCount }}, patterns(FlushGutter)),
	when(positive(length("/gutter/drain_diameter", func(c *Configuration) *float64 { return &c.Gutter.DrainDiameter })), patterns(FlushGutter)),
	when(Parameter{Pointer: "/gutter/rain_intensity", Unit: quantity.MillimeterPerHour, Min: leastRain, Max: 10_000, Number: func(c *Configuration) *float64 { return &c.Gutter.RainIntensity }}, patterns(FlushGutter)),
	when(length("/gutter/catchment", func(c *Configuration) *float64 { return &c.Gutter.Catchment }), patterns(FlushGutter)),

	when(deep(length("/coaming/height", func(c *Configuration) *float64 { return &c.Coaming.Height })), patterns(RaisedCoaming)),
	when(positive(length("/coaming/top_width", func(c *Configuration) *float64 { return &c.Coaming.TopWidth })), patterns(RaisedCoaming)),
	when(deep(length("/coaming/overlap", func(c *Configuration) *float64 { return &c.Coaming.Overlap })), patterns(RaisedCoaming)),

	when(positive(length("/plate/overlap", func(c *Configuration) *float64 { return &c.Plate.Overlap })), patterns(BoltedPlate)),
	when(positive(length("/plate/bolt_diameter", func(c *Configuration) *float64 { return &c.Plate.BoltDiameter })), patterns(BoltedPlate)),
	when(positive(length("/plate/edge_distance", func(c *Configuration) *float64 { return &c.Plate.EdgeDistance })), patterns(BoltedPlate)),

	when(word("/seal/tightness", func(c *Configuration) *string { return &c.Seal.Tightness }, Drip, Splash, Immersion), patterns(RaisedCoaming, BoltedPlate)),
	when(length("/seal/thickness", func(c *Configuration) *float64 { return &c.Seal.Thickness }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(length("/seal/width", func(c *Configuration) *float64 { return &c.Seal.Width }), patterns(FlushLedge, FlushGutter, RaisedCoaming)),
	when(Parameter{Pointer: "/seal/compression", Unit: quantity.Ratio, Min: 0, Max: 0.99, Number: func(c *Configuration) *float64 { return &c.Seal.Compression }}, patterns(FlushLedge, FlushGutter, RaisedCoaming)),

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
