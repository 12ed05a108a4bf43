package shop

import (
	"embed"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/govalues/decimal"

	"hatchwright/service/laminate"
)

// Documents are the three documents that an answer is worked out from.
type Documents struct {
	Profile   *Profile
	Materials *Materials
	Prices    *PriceBook
	Revision  Revision
}

// Revision says which documents, in which versions, an answer came from.
type Revision struct {
	Engine    string
	Catalog   string
	PriceBook string
}

// Profile is the shop as a place to work in.
type Profile struct {
	SchemaVersion   int     `json:"schema_version"`
	Name            string  `json:"name"`
	TimeZone        string  `json:"time_zone"`
	Units           string  `json:"units"`
	Currency        string  `json:"currency,omitempty"` // that of the price book; "" is whatever that is
	ShopTemperature float64 `json:"shop_temperature"`   // °C
	LargestSide     float64 `json:"largest_side"`       // mm
	SmallestSide    float64 `json:"smallest_side"`      // mm
	// Tightness is what the shop asks of a hatch by how tight it must be.
	Tightness map[string]Tightness `json:"tightness"`
	Defaults  map[string]any       `json:"defaults"` // by pointer, mm and deg
	Standard  StandardSchedules    `json:"standard_schedules"`
	Tooling   Tooling              `json:"tooling"`
	Sheets    []Sheet              `json:"sheets"`
	Crib      []Bit                `json:"crib"`
	Calendar  Calendar             `json:"calendar"`
	Centers   []Center             `json:"work_centers"`
	Rates     map[string]Rate      `json:"rates"`
	Waits     map[string]float64   `json:"waits"` // hours by the clock
	Waste     Waste                `json:"waste"`
	Strength  Strength             `json:"strength"`
	Mixing    Mixing               `json:"mixing"`
	Seal      Seal                 `json:"seal"`
	OpenLid   OpenLid              `json:"open_lid,omitzero"`
	Fit       Fit                  `json:"fit,omitzero"`
	// Uncertainty is how much to trust the rates before anything is learned.
	Uncertainty Uncertainty `json:"uncertainty,omitzero"`
}

// Strength are the shop's margins.
type Strength struct {
	// AllowableShare of the ultimate stress of a ply; 0 stands for one half.
	AllowableShare float64 `json:"allowable_share,omitempty"`
	// Tested tells that the shop's laminates were tested, so that no knock-down applies.
	Tested bool `json:"laminates_tested,omitempty"`
}

// Rules returns the margins as the laminate's.
func (s Strength) Rules() laminate.Rules {
	return laminate.Rules{Allowable: s.AllowableShare, Tested: s.Tested}
}

// Mixing are the rates at which one hand uses up a mix, kg/h.
type Mixing struct {
	WetOutRate float64 `json:"wet_out_rate"` // laminating resin
	SprayRate  float64 `json:"spray_rate"`   // gelcoat
	SpreadRate float64 `json:"spread_rate"`  // filler
	Transfer   string  `json:"transfer"`     // "spray" or "brush": how gelcoat is put on
}

// Seal is how hard the shop's seal strip presses back.
type Seal struct {
	ForcePerMM  float64 `json:"force_per_mm"` // N for each mm of its length, at Compression
	Compression float64 `json:"compression"`  // share of the free thickness
}

// ForceAt returns the force of a mm of seal, N/mm, at a compression; in
// proportion, as far as foam goes (shop rule, no source).
func (s Seal) ForceAt(compression float64) float64 {
	return s.ForcePerMM * compression / s.Compression
}

// OpenLid is what an open lid must stand on its hinges. What is left out or 0 stands
// for the standard figures.
type OpenLid struct {
	Angle     float64 `json:"angle_deg,omitempty"`  // from closed, at the stop
	HandForce float64 `json:"hand_force,omitempty"` // N at the far edge, pressing on
	GustSpeed float64 `json:"gust_speed,omitempty"` // m/s
}

// What stands for figures of the open lid that a profile leaves out.
const (
	// StandardOpenAngle is a little past upright, so that the lid stays open (shop
	// rule, no source).
	StandardOpenAngle = 100.0
	// StandardOpenHand is somebody steadying on the open lid (shop rule, no source).
	StandardOpenHand = 100.0
	// StandardGust is the top of a near gale, Beaufort 7 (from memory: 13.9 to 17.1
	// m/s).
	StandardGust = 17.1
)

// Filled puts the standard figures where none are given.
func (o OpenLid) Filled() OpenLid {
	fill := func(x *float64, standard float64) {
		if *x == 0 {
			*x = standard
		}
	}
	fill(&o.Angle, StandardOpenAngle)
	fill(&o.HandForce, StandardOpenHand)
	fill(&o.GustSpeed, StandardGust)
	return o
}

// Tightness is how high a coaming must stand and how far apart bolts may be, mm.
type Tightness struct {
	CoamingHeight float64 `json:"coaming_height"`
	BoltPitch     float64 `json:"bolt_pitch"`
}

// StandardSchedules are the plies that the shop lays when nobody says otherwise,
// material keys from the mold face outward.
type StandardSchedules struct {
	LidOuter []string `json:"lid_outer"` // between gelcoat and core
	LidInner []string `json:"lid_inner"` // behind the core
	Core     string   `json:"core"`      // of the lid, a key or "none"
	Receiver []string `json:"receiver"`
	PadPly   string   `json:"pad_ply"` // of the solid pads under hardware
}

// Tooling are the shop's habits in building molds, mm.
type Tooling struct {
	BaseMargin     float64 `json:"base_margin"`     // of the base board round the flange
	BaseThickness  float64 `json:"base_thickness"`  // of the base board
	TrimAllowance  float64 `json:"trim_allowance"`  // of the trunk's block below the trim line
	SheetTolerance float64 `json:"sheet_tolerance"` // how far a stack may miss its thickness
	CavityMargin   float64 `json:"cavity_margin"`   // of the cavity boards round the lid
	RimRadius      float64 `json:"rim_radius"`      // round-over of the cavity's top rim
	Kerf           float64 `json:"kerf"`
	SheetTrim      float64 `json:"sheet_trim"`
	PlyOverrun     float64 `json:"ply_overrun"` // of glass and gelcoat past the trim line

	// What follows has a common value where it is left out; errors are ± half
	// widths, mm.
	SizeTolerance      float64 `json:"size_tolerance,omitempty"`      // of a template that another part fits to
	TrunkTolerance     float64 `json:"trunk_tolerance,omitempty"`     // of the trunk's, which nothing fits to
	LayoutError        float64 `json:"layout_error,omitempty"`        // of an outline filed to a drawn line
	CopyError          float64 `json:"copy_error,omitempty"`          // of one pass of a bearing
	BitError           float64 `json:"bit_error,omitempty"`           // of a cutter's diameter
	FairingError       float64 `json:"fairing_error,omitempty"`       // of a filled and sanded face
	TrimError          float64 `json:"trim_error,omitempty"`          // of sanding a part's edge clean
	ShrinkageVariation float64 `json:"shrinkage_variation,omitempty"` // share of the resin's shrinkage
	ScaleMolds         bool    `json:"scale_molds,omitempty"`         // molds are made larger by the shrinkage
	TemplateThickness  float64 `json:"template_thickness,omitempty"`
	BlankMargin        float64 `json:"blank_margin,omitempty"` // that a blank is larger than its outline, each side
	ScrewPitch         float64 `json:"screw_pitch,omitempty"`  // at most
	ScrewEdge          float64 `json:"screw_edge,omitempty"`   // from the edges
	ScrewLeast         int     `json:"screw_least,omitempty"`  // for each layer
	NestBudget         int     `json:"nest_budget,omitempty"`  // steps of the search for sheets
}

// Sheet is a stocked sheet of MDF, mm.
type Sheet struct {
	Key       string  `json:"key"`
	Thickness float64 `json:"thickness"`
	Length    float64 `json:"length"`
	Width     float64 `json:"width"`
	Density   float64 `json:"density"` // kg/m3
	Source    string  `json:"source,omitempty"`
}

// The kinds of router bits.
const (
	FlushTrim = "flush_trim"
	Rabbet    = "rabbet"
	RoundOver = "round_over"
	Tapered   = "tapered"
)

// Bit is a router bit of the crib, mm and deg.
type Bit struct {
	Key           string    `json:"key"`
	Kind          string    `json:"kind"`
	Diameter      float64   `json:"diameter"`
	Bearings      []float64 `json:"bearings,omitempty"`
	CuttingLength float64   `json:"cutting_length"`
	Radius        float64   `json:"radius,omitempty"`
	Draft         float64   `json:"draft_deg,omitempty"`
}

// Calendar is when the shop works.
type Calendar struct {
	Shifts   []Shift   `json:"shifts"`
	Closures []Closure `json:"closures"`
}

// Shift is one stretch of work on given weekdays ("mon" … "sun"), local times
// "07:30"; an end at or before the start is on the next day.
type Shift struct {
	Days  []string `json:"days"`
	Start string   `json:"start"`
	End   string   `json:"end"`
}

// Closure is a stretch of local dates, both inclusive, in which nobody works.
type Closure struct {
	From   string `json:"from"`
	To     string `json:"to"`
	Reason string `json:"reason"`
}

// Center is a work center.
type Center struct {
	Key   string `json:"key"`
	Name  string `json:"name"`
	Posts int    `json:"posts"`
}

// Rate is the labor of one kind of operation: setup hours, and hours for each
// unit of what drives it.
type Rate struct {
	Center string  `json:"work_center"`
	Setup  float64 `json:"setup_hours"`
	Each   float64 `json:"hours_each"`
	Driver string  `json:"driver"` // what "each" counts, in words
	Crew   int     `json:"crew"`
	// Unbroken is work that must not stop once begun: it is planned within a run of
	// shifts, see schedule.Operation.
	Unbroken bool `json:"unbroken,omitempty"`
	// FollowWithin is how many hours after its end, waiting included, what comes next
	// may begin at the latest; 0: whenever.
	FollowWithin float64 `json:"follow_within_hours,omitempty"`
}

// Waste are the shares added to net quantities, by what they are.
type Waste struct {
	Glass   float64 `json:"glass"`
	Resin   float64 `json:"resin"`
	Gelcoat float64 `json:"gelcoat"` // beside the transfer efficiency
	Filler  float64 `json:"filler"`
	Sheet   float64 `json:"sheet"`
	Coating float64 `json:"coating"` // sealer, wax, release
	Core    float64 `json:"core"`
}

// Materials is the catalog of what is stocked.
type Materials struct {
	SchemaVersion  int             `json:"schema_version"`
	Reinforcements []Reinforcement `json:"reinforcements"`
	Resins         []Resin         `json:"resins"`
	Gelcoats       []Gelcoat       `json:"gelcoats"`
	Cores          []Core          `json:"cores"`
	Fillers        []Filler        `json:"fillers"`
	Coatings       []Coating       `json:"coatings"`
	Hardware       []Fitting       `json:"hardware"`
	Catalyst       Catalyst        `json:"catalyst"`
	// Purchasing is how each material is bought, by its key.
	Purchasing map[string]Purchase `json:"purchasing,omitempty"`
}

// Reinforcement is a row of glass: g/m2 in the document.
type Reinforcement struct {
	Key           string  `json:"key"`
	Name          string  `json:"name"`
	Kind          string  `json:"kind"`
	ArealMass     float64 `json:"areal_mass"` // g/m2, the fabric
	MatMass       float64 `json:"mat_mass,omitempty"`
	GlassFraction float64 `json:"glass_fraction"`
	RollWidth     float64 `json:"roll_width"` // mm
	Source        string  `json:"source"`
}

// Resin is a row of laminating resin.
type Resin struct {
	Key           string      `json:"key"`
	Name          string      `json:"name"`
	CuredDensity  float64     `json:"cured_density"`
	LiquidDensity float64     `json:"liquid_density"`
	Catalyzed     Catalyzed   `json:"catalyzed"`
	Cure          []CurePoint `json:"cure"`
	ExothermLimit float64     `json:"exotherm_limit"` // mm of laminate in one stage
	Shrinkage     float64     `json:"shrinkage"`      // linear, of the laminate
	Source        string      `json:"source"`
}

// Catalyzed is a product's gel chart: rows by temperature, columns by percent.
type Catalyzed struct {
	LeastTemperature float64     `json:"least_temperature"`
	Temperatures     []float64   `json:"temperatures"`
	Percents         []float64   `json:"percents"`
	GelMinutes       [][]float64 `json:"gel_minutes"`
	LeastPercent     float64     `json:"least_percent"`
	MostPercent      float64     `json:"most_percent"`
	TargetGel        float64     `json:"target_gel_minutes"`
}

// CurePoint is hours to demold at a temperature.
type CurePoint struct {
	Temperature float64 `json:"temperature"`
	Hours       float64 `json:"hours"`
}

// Gelcoat is a row of gelcoat; Color is what a customer asks for.
type Gelcoat struct {
	Key           string    `json:"key"`
	Name          string    `json:"name"`
	Color         string    `json:"color"`
	Density       float64   `json:"density"`
	Film          float64   `json:"film"` // mm, wet
	TransferSpray float64   `json:"transfer_spray"`
	Catalyzed     Catalyzed `json:"catalyzed"`
	Source        string    `json:"source"`
}

// Core is a row of core sheet.
type Core struct {
	Key       string  `json:"key"`
	Name      string  `json:"name"`
	Kind      string  `json:"kind"`
	Density   float64 `json:"density"`
	Thickness float64 `json:"thickness"`
	BedResin  float64 `json:"bed_resin"` // kg/m2, both faces
	Source    string  `json:"source"`
}

// Filler is a row of body filler.
type Filler struct {
	Key              string         `json:"key"`
	Name             string         `json:"name"`
	Density          float64        `json:"density"`          // kg/m3
	HardenerPercent  float64        `json:"hardener_percent"` // by mass
	HardenerLeast    float64        `json:"hardener_least"`
	HardenerMost     float64        `json:"hardener_most"`
	HardenerDensity  float64        `json:"hardener_density"` // kg/m3
	LeastTemperature float64        `json:"least_temperature"`
	Working          []WorkingPoint `json:"working"` // rising in temperature
	Source           string         `json:"source"`
}

// WorkingPoint is the working time at a temperature.
type WorkingPoint struct {
	Temperature float64 `json:"temperature"`
	Minutes     float64 `json:"minutes"`
}

// Material returns the row as the laminate's material.
func (f Filler) Material() laminate.Filler {
	out := laminate.Filler{
		Key: f.Key, Name: f.Name, Density: f.Density, HardenerPercent: f.HardenerPercent, HardenerMin: f.HardenerLeast, HardenerMax: f.HardenerMost,
		HardenerDensity: f.HardenerDensity, MinTemperature: f.LeastTemperature, Source: f.Source,
	}
	for _, w := range f.Working {
		out.Working = append(out.Working, laminate.WorkingPoint(w))
	}
	return out
}

// Coating is what is brushed or wiped on a mold: coats and cover of each.
type Coating struct {
	Key    string  `json:"key"`
	Name   string  `json:"name"`
	Use    string  `json:"use"`   // "seal", "wax", "release"
	Coats  int     `json:"coats"` // on a new mold
	Cover  float64 `json:"cover"` // m2 per unit and coat
	Unit   string  `json:"unit"`
	Source string  `json:"source"`
}

// The kinds of fittings.
const (
	Hinge = "hinge" // holds the lid on one edge
	Latch = "latch" // pulls the lid down on the seal
	Pull  = "pull"  // only lifts it
)

// Fitting is a piece of hardware, mm. Its length runs along the lid's edge.
//
//	lid's edge ----------------------------------
//	   EdgeDistance (and up to Reach more)
//	        +-- CutOutLength --+
//	        |   CutOutWidth    |   inside a pad of PadLength by PadWidth
//	        +------------------+
type Fitting struct {
	Key          string  `json:"key"`
	Name         string  `json:"name"`
	Kind         string  `json:"kind"`
	Mass         float64 `json:"mass"`  // kg
	Hours        float64 `json:"hours"` // to fit one
	CutOutLength float64 `json:"cut_out_length"`
	CutOutWidth  float64 `json:"cut_out_width"`
	EdgeDistance float64 `json:"edge_distance"` // least, from the lid's edge to the cut-out
	Reach        float64 `json:"reach"`         // how much further in it may stand and still work
	Spacing      float64 `json:"spacing"`       // least, between cut-outs
	PadLength    float64 `json:"pad_length"`    // of the solid pad under it; 0: none
	PadWidth     float64 `json:"pad_width"`
	PadPlies     int     `json:"pad_plies"`
	Screws       Screws  `json:"screws"`
	WorkingLoad  float64 `json:"working_load,omitempty"` // N, of one; 0: the maker gives none
	HoldTorque   float64 `json:"hold_torque,omitempty"`  // N m that a hinge holds without turning; 0: turns freely, or unknown
	StopArm      float64 `json:"stop_arm,omitempty"`     // from a hinge's pin to where its stop bears; 0: no stop
	Source       string  `json:"source,omitempty"`
}

// Screws are the fasteners of a fitting: a pattern about the cut-out's middle, mm.
type Screws struct {
	Count         int     `json:"count"`
	Diameter      float64 `json:"diameter"`
	PatternLength float64 `json:"pattern_length"`
	PatternWidth  float64 `json:"pattern_width"`
}

// Catalyst is what gels resin and gelcoat.
type Catalyst struct {
	Key     string  `json:"key"`
	Name    string  `json:"name"`
	Density float64 `json:"density"`
	Source  string  `json:"source"`
}

// PriceBook is what things cost and how a price is made. It is never edited in
// place: a change is a new version.
type PriceBook struct {
	SchemaVersion int              `json:"schema_version"`
	Version       string           `json:"version"`
	Currency      string           `json:"currency"`
	Prices        map[string]Price `json:"prices"`       // by material key
	HourlyRates   map[string]Exact `json:"hourly_rates"` // by work center
	Overhead      Exact            `json:"overhead"`     // share of labor
	Margin        Exact            `json:"margin"`       // share of the whole cost
	MoldCharge    string           `json:"mold_charge"`  // "once" or "spread"
	MoldPieces    int              `json:"mold_pieces"`  // pieces that a spread mold is paid off over
	Breaks        []Break          `json:"quantity_breaks"`
}

// Price is the price of a pack.
type Price struct {
	Unit string  `json:"unit"` // unit the net quantity is counted in
	Pack float64 `json:"pack"` // units in a pack
	Per  Exact   `json:"price_per_pack"`
}

// Break is a discount on the part's price from a quantity on.
type Break struct {
	From     int   `json:"from"`
	Discount Exact `json:"discount"`
}

// Exact is a decimal written as a string in the document.
type Exact struct{ decimal.Decimal }

// UnmarshalJSON reads "12.40".
func (e *Exact) UnmarshalJSON(b []byte) error {
	var s string
	if err := json.Unmarshal(b, &s); err != nil {
		return fmt.Errorf("a decimal is written as a string, like \"12.40\": %w", err)
	}
	d, err := decimal.Parse(s)
	if err != nil {
		return fmt.Errorf("decimal %q: %w", s, err)
	}
	e.Decimal = d
	return nil
}

// MarshalJSON writes "12.40".
func (e Exact) MarshalJSON() ([]byte, error) { return json.Marshal(e.String()) }

//go:embed example/*.json
var example embed.FS

// ExampleBodies returns the documents of the invented shop as they are stored.
func ExampleBodies() (profile, materials, prices []byte) {
	read := func(name string) []byte {
		b, err := example.ReadFile("example/" + name)
		if err != nil {
			panic(err) // embedded at build time
		}
		return b
	}
	return read("profile.json"), read("materials.json"), read("price_book.json")
}

// Engine names the version of the formulas; it changes when numbers do.
const Engine = "7"

// Decode reads the three documents and checks them against each other. The error is
// Faults, every one of every document.
func Decode(profile, materials, prices []byte, catalog, book string) (Documents, error) {
	return Judge(profile, materials, prices, catalog, book, "")
}

// Judge is Decode of documents of which one is new: what does not fit between two of
// them is then told of the new one, and all that is asked of new documents alone is
// looked at too. The documents come back where each could be read, faults or not, and
// with a nil Profile where not.
func Judge(profile, materials, prices []byte, catalog, book, judged string) (Documents, error) {
	p, inP := readProfile(profile)
	m, inM := readMaterials(materials)
	b, inB := readPriceBook(prices)
	d := Documents{Revision: Revision{Engine: Engine, Catalog: catalog, PriceBook: book}}
	if p != nil && m != nil && b != nil {
		d.Profile, d.Materials, d.Prices = p, m, b
		for _, f := range d.between(judged) {
			f.Between = true
			map[string]*inspector{ProfileDocument: inP, MaterialsDocument: inM, PriceBookDocument: inB}[f.Document].later(f)
		}
	}
	return d, slices.Concat(inP.sorted(), inM.sorted(), inB.sorted()).Err()
}

// Place puts faults that were found later at their places among those of the document
// that they are of.
func Place(document string, body []byte, known, more Faults) Faults {
	i := inspect(document, body, map[string]any{ProfileDocument: &Profile{}, MaterialsDocument: &Materials{}, PriceBookDocument: &PriceBook{}}[document])
	i.faults = nil
	for _, list := range []Faults{known, more} {
		for _, f := range list {
			if f.Document == document && f.at == 0 {
				i.later(f)
			} else {
				i.faults = append(i.faults, f)
			}
		}
	}
	return i.sorted()
}

// Example returns the documents of the invented shop.
func Example() Documents {
	p, m, b := ExampleBodies()
	d, err := Decode(p, m, b, "1", "1")
	if err != nil {
		panic(err) // tested: the example decodes
	}
	return d
}

// Ply returns the row of the given key.
func (m *Materials) Ply(key string) (Reinforcement, bool) {
	return find(m.Reinforcements, key, func(r Reinforcement) string { return r.Key })
}

// Resin returns the resin whose key or name is asked for.
func (m *Materials) Resin(key string) (Resin, bool) {
	return find(m.Resins, key, func(r Resin) string { return r.Key })
}

// Gelcoat returns the gelcoat of the given color.
func (m *Materials) Gelcoat(color string) (Gelcoat, bool) {
	return find(m.Gelcoats, color, func(g Gelcoat) string { return g.Color })
}

// Core returns the core of the given key.
func (m *Materials) Core(key string) (Core, bool) {
	return find(m.Cores, key, func(c Core) string { return c.Key })
}

// Fitting returns the hardware of the given key.
func (m *Materials) Fitting(key string) (Fitting, bool) {
	return find(m.Hardware, key, func(f Fitting) string { return f.Key })
}

// Coating returns the coating of the given use.
func (m *Materials) Coating(use string) (Coating, bool) {
	return find(m.Coatings, use, func(c Coating) string { return c.Use })
}

func find[T any](rows []T, key string, of func(T) string) (T, bool) {
	for _, r := range rows {
		if of(r) == key {
			return r, true
		}
	}
	var none T
	return none, false
}

// Material returns the row as the laminate's material.
func (r Reinforcement) Material() laminate.Reinforcement {
	return laminate.Reinforcement{
		Key: r.Key, Name: r.Name, Kind: laminate.Kind(r.Kind),
		ArealMass: r.ArealMass / 1000, MatMass: r.MatMass / 1000, GlassFraction: r.GlassFraction, Source: r.Source,
	}
}

func (c Catalyzed) material(density float64) laminate.Catalyzed {
	return laminate.Catalyzed{
		MinTemperature: c.LeastTemperature,
		CatalystTable:  laminate.GelTable{Temperatures: c.Temperatures, Percents: c.Percents, Minutes: c.GelMinutes},
		CatalystMin:    c.LeastPercent, CatalystMax: c.MostPercent, TargetGel: c.TargetGel, CatalystDensity: density,
	}
}

// Material returns the row as the laminate's material.
func (r Resin) Material(c Catalyst) laminate.Resin {
	out := laminate.Resin{
		Key: r.Key, Name: r.Name, Density: r.CuredDensity, LiquidDensity: r.LiquidDensity,
		Catalyzed: r.Catalyzed.material(c.Density), ExothermLimit: r.ExothermLimit, Source: r.Source,
	}
	for _, p := range r.Cure {
		out.Cure = append(out.Cure, laminate.CurePoint{Temperature: p.Temperature, Hours: p.Hours})
	}
	return out
}

// Material returns the row as the laminate's material.
func (g Gelcoat) Material(c Catalyst) laminate.Gelcoat {
	return laminate.Gelcoat{
		Key: g.Key, Name: g.Name, Density: g.Density, Film: g.Film,
		Catalyzed: g.Catalyzed.material(c.Density), TransferSpray: g.TransferSpray, Source: g.Source,
	}
}

// Material returns the row as the laminate's material.
func (c Core) Material() laminate.Core {
	return laminate.Core{
		Key: c.Key, Name: c.Name, Kind: laminate.CoreKind(c.Kind), Density: c.Density, Thickness: c.Thickness,
		BedResin: c.BedResin, Source: c.Source,
	}
}
