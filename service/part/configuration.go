package part

import (
	"hatchwright/service/outline"
	"hatchwright/service/quantity"
)

// How tight the closed hatch is asked to be, in the order of rising demand.
const (
	Drip      = "drip"      // dripping water
	Splash    = "splash"    // splashing water
	Immersion = "immersion" // going under for a moment
)

// The outlines that the customer's size can mean.
const (
	BasisRecess       = "recess"
	BasisLid          = "lid"
	BasisClearOpening = "clear_opening"
	BasisDeckCutout   = "deck_cutout"
)

// The duties of a lid.
const (
	NoStep      = "no_step"
	Step        = "step"
	WorkingDeck = "working_deck"
	Custom      = "custom"
)

// The ways to say which plies a part gets.
const (
	ScheduleStandard = "standard" // the shop's own schedule
	ScheduleListed   = "listed"   // the caller's plies, checked, never changed
	ScheduleAuto     = "auto"     // the least lid that passes, of what is stocked
)

// What an automatic schedule makes least.
const (
	PreferCost = "cost"
	PreferMass = "mass"
)

// NoCore is the word for a lid panel without a core.
const NoCore = "none"

// AutoCore leaves the core to an automatic schedule.
const AutoCore = "auto"

// Configuration is one hatch, complete: every figure is set. Lengths in mm,
// angles in degrees.
type Configuration struct {
	Units     quantity.System // the system the document speaks; figures here are mm
	Pattern   Pattern
	SizeBasis string

	Outline  Plan
	Receiver ReceiverFigures
	Lid      LidFigures
	Gutter   Gutter
	Coaming  Coaming
	Plate    Plate
	Seal     Seal
	Deck     Deck
	Duty     Duty
	Laminate Laminate
	Gelcoat  Gelcoat
	Hardware []Hardware

	Quantity      float64 // pieces, a whole number
	NeededBy      string  // local date 2006-01-02, empty when not given
	SizeTolerance float64 // how far the size may be off for a mold that exists
}

// Plan is the customer's plan shape: the figures that its shape uses.
type Plan struct {
	Shape        string
	Length       float64
	Width        float64
	CornerRadius float64
	Diameter     float64
	WidthAft     float64
	WidthFwd     float64
	Corners      []outline.Corner
}

// ReceiverFigures are those of the part that is fixed in the deck.
type ReceiverFigures struct {
	RecessDepth      float64 // D, from the deck plane to the ledge
	LedgeWidth       float64 // W, from the wall's theoretical foot
	TrunkHeight      float64 // H, below the ledge
	FlangeWidth      float64 // F
	EdgeRadius       float64 // r_e, flange to recess wall
	RootRadius       float64 // r_r, recess wall to ledge
	LipRadius        float64 // r_l, ledge to trunk
	Draft            float64 // f_r, of the recess wall
	TrunkDraft       float64 // f_t
	FittingClearance float64 // c, between the laminate's back and the deck's edge
}

// LidFigures are those of the shallow pan that drops into the receiver.
type LidFigures struct {
	Gap        float64 // g at deck level, each side
	LeastGap   float64 // least clearance that must be left anywhere
	EdgeRadius float64 // r_t
	Draft      float64 // f_l, outward with depth
	LandWidth  float64 // inward return glassed inside the skirt's foot
	Core       string
}

// Gutter is the channel round the upstand of a flush-gutter receiver.
type Gutter struct {
	Width          float64 // G, floor, between the walls' theoretical feet
	Depth          float64 // K, below the seal plane
	UpstandWidth   float64 // U, its top, at the seal plane
	SkirtClearance float64 // of the lid's skirt over the floor
	DrainCount     float64 // whole number
	DrainDiameter  float64 // bore
	RainIntensity  float64 // mm/h
	Catchment      float64 // width of deck round the lid that drains into the gap
}

// Coaming is the raised rim of a raised-coaming receiver.
type Coaming struct {
	Height   float64 // B, above the deck
	TopWidth float64 // U
	Overlap  float64 // V, of the lid's skirt down over it
}

// Plate is what a bolted plate adds.
type Plate struct {
	Overlap      float64 // of the plate over the opening's edge
	BoltDiameter float64
	EdgeDistance float64 // of the bolts' line from the plate's edge
}

// Seal is the gasket on the ledge.
type Seal struct {
	Tightness   string  // what the closed hatch must keep out
	Thickness   float64 // free
	Width       float64
	Compression float64 // share of the free thickness, 0..1
}

// Compressed returns s, the thickness left once the seal is compressed, mm.
func (s Seal) Compressed() float64 { return s.Thickness * (1 - s.Compression) }

// Deck is what the hatch is let into.
type Deck struct {
	Thickness    float64
	CamberRadius float64 // 0: flat
	DepthBelow   float64 // free depth below the deck plane
}

// Duty is what the lid must carry.
type Duty struct {
	Kind             string
	WaterlineLength  float64 // mm
	Displacement     float64 // kg
	Category         string  // design category A to D
	Pressure         float64 // kPa, custom
	PointLoad        float64 // N, custom
	PointRadius      float64 // custom
	DeflectionFactor float64 // custom: deflection at most short span / factor
}

// Laminate says which resin and plies.
type Laminate struct {
	Resin    string
	Schedule string
	Prefer   string
	Lid      []string // material keys from the mold face outward, schedule "listed"
	Receiver []string
}

// Gelcoat is the color coat.
type Gelcoat struct {
	Color   string
	Surface string
}

// Hardware is one kind of fitting and where it goes.
type Hardware struct {
	Item  string
	Edge  string
	Count int
}

// Request is what arrived: the figures that were given, and which ones were.
type Request struct {
	Configuration
	Given map[string]bool // by pointer; an array counts as one
}

// Has reports whether the figure at pointer was given.
func (r *Request) Has(pointer string) bool { return r.Given[pointer] }

// With returns a copy in which the figure at the mend's pointer is given.
func (r Request) With(pointer string) Request {
	given := make(map[string]bool, len(r.Given)+1)
	for k, v := range r.Given {
		given[k] = v
	}
	given[pointer] = true
	r.Given = given
	return r
}
