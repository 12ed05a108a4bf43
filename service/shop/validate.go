package shop

import (
	"fmt"
	"time"

	"hatchwright/service/laminate"
)

func refuse(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrDocument}, args...)...)
}

// schemaVersion is the form of the documents that this program reads.
const schemaVersion = 1

func (p *Profile) validate() error {
	if p.SchemaVersion != schemaVersion {
		return refuse("profile: schema_version %d: this program reads %d", p.SchemaVersion, schemaVersion)
	}
	if _, err := time.LoadLocation(p.TimeZone); err != nil || p.TimeZone == "" {
		return refuse("profile: time_zone %q: give a name of the IANA data base, like \"America/Halifax\"", p.TimeZone)
	}
	if !(p.SmallestSide > 0 && p.LargestSide > p.SmallestSide) {
		return refuse("profile: smallest_side %g and largest_side %g: both above 0, the second larger", p.SmallestSide, p.LargestSide)
	}
	for _, word := range []string{"drip", "splash", "immersion"} {
		if t := p.Tightness[word]; !(t.CoamingHeight >= 0 && t.BoltPitch > 0) {
			return refuse("profile: tightness/%s: a coaming_height of 0 or more and a bolt_pitch above 0", word)
		}
	}
	t := p.Tooling
	for key, v := range map[string]float64{"base_margin": t.BaseMargin, "base_thickness": t.BaseThickness, "trim_allowance": t.TrimAllowance,
		"sheet_tolerance": t.SheetTolerance, "cavity_margin": t.CavityMargin, "rim_radius": t.RimRadius, "kerf": t.Kerf, "sheet_trim": t.SheetTrim,
		"ply_overrun": t.PlyOverrun, "size_tolerance": t.SizeTolerance, "trunk_tolerance": t.TrunkTolerance, "layout_error": t.LayoutError,
		"copy_error": t.CopyError, "bit_error": t.BitError, "fairing_error": t.FairingError, "trim_error": t.TrimError,
		"shrinkage_variation": t.ShrinkageVariation, "template_thickness": t.TemplateThickness, "blank_margin": t.BlankMargin,
		"screw_pitch": t.ScrewPitch, "screw_edge": t.ScrewEdge, "screw_least": float64(t.ScrewLeast), "nest_budget": float64(t.NestBudget)} {
		if !(v >= 0 && v <= 1e6) {
			return refuse("profile: tooling/%s %g: 0 or more, and at most 1000000", key, v)
		}
	}
	if len(p.Sheets) == 0 {
		return refuse("profile: sheets: list at least one sheet that molds are built from")
	}
	for i, s := range p.Sheets {
		if s.Key == "" || !(s.Thickness > 0 && s.Length > 0 && s.Width > 0 && s.Density > 0) {
			return refuse("profile: sheets/%d: key, thickness, length, width and density must all be given, above 0", i)
		}
	}
	for i, b := range p.Crib {
		switch b.Kind {
		case FlushTrim, Rabbet, RoundOver, Tapered:
		default:
			return refuse("profile: crib/%d/kind %q: give %s, %s, %s or %s", i, b.Kind, FlushTrim, Rabbet, RoundOver, Tapered)
		}
		if b.Key == "" || !(b.Diameter > 0) || !(b.CuttingLength > 0) {
			return refuse("profile: crib/%d: key, diameter and cutting_length must be given, above 0", i)
		}
	}
	centers := map[string]bool{}
	for i, c := range p.Centers {
		if c.Key == "" || c.Posts < 1 {
			return refuse("profile: work_centers/%d: a key and at least one post", i)
		}
		centers[c.Key] = true
	}
	for kind, r := range p.Rates {
		if !centers[r.Center] {
			return refuse("profile: rates/%s/work_center %q is not among the work centers", kind, r.Center)
		}
		if !(r.Setup >= 0 && r.Each >= 0) || r.Crew < 1 {
			return refuse("profile: rates/%s: hours of 0 or more and a crew of at least 1", kind)
		}
		if f := r.FollowWithin; !(f >= 0 && f <= 10_000) || f > 0 && f < 1 {
			return refuse("profile: rates/%s/follow_within_hours: 1 to 10000, or left out for no limit", kind)
		}
	}
	for kind, hours := range p.Waits {
		if !(hours >= 0) {
			return refuse("profile: waits/%s: hours of 0 or more", kind)
		}
	}
	if err := p.Uncertainty.validate(); err != nil {
		return err
	}
	if err := p.Strength.Rules().Validate(); err != nil {
		return refuse("profile: strength/allowable_share: %v", err)
	}
	m := p.Mixing
	if !(m.WetOutRate > 0 && m.SprayRate > 0 && m.SpreadRate > 0) {
		return refuse("profile: mixing: wet_out_rate, spray_rate and spread_rate in kg/h, above 0")
	}
	if t := laminate.Transfer(m.Transfer); t != laminate.Spray && t != laminate.Brush {
		return refuse("profile: mixing/transfer %q: give %s or %s", m.Transfer, laminate.Spray, laminate.Brush)
	}
	if !(p.Seal.ForcePerMM >= 0 && p.Seal.Compression > 0 && p.Seal.Compression < 1) {
		return refuse("profile: seal: a force_per_mm of 0 or more at a compression between 0 and 1")
	}
	if o := p.OpenLid; !(o.Angle >= 0 && o.Angle <= 180 && o.HandForce >= 0 && o.HandForce <= largestForce && o.GustSpeed >= 0 && o.GustSpeed <= fastestGust) {
		return refuse("profile: open_lid: an angle_deg of 0 to 180, a hand_force of 0 to %g N and a gust_speed of 0 to %g m/s", largestForce, fastestGust)
	}
	for name, w := range map[string]float64{"glass": p.Waste.Glass, "resin": p.Waste.Resin, "gelcoat": p.Waste.Gelcoat, "filler": p.Waste.Filler,
		"sheet": p.Waste.Sheet, "coating": p.Waste.Coating, "core": p.Waste.Core} {
		if !(w >= 0 && w <= maxWaste) {
			return refuse("profile: waste/%s %g: a share from 0 to %g", name, w, maxWaste)
		}
	}
	return nil
}

// maxWaste is the largest share of waste that makes sense: more is a percentage
// written where a share is asked for.
const maxWaste = 5.0

// Bounds of what an open lid may be asked to stand: several people's weight, N, and
// more wind than any hatch is opened in, m/s (shop rule).
const (
	largestForce = 5000.0
	fastestGust  = 80.0
)

func (m *Materials) validate() error {
	if m.SchemaVersion != schemaVersion {
		return refuse("materials: schema_version %d: this program reads %d", m.SchemaVersion, schemaVersion)
	}
	seen := map[string]bool{}
	once := func(kind, key string) error {
		if key == "" || seen[key] {
			return refuse("materials: %s: key %q is empty or there twice", kind, key)
		}
		seen[key] = true
		return nil
	}
	for i, r := range m.Reinforcements {
		if err := once("reinforcements", r.Key); err != nil {
			return err
		}
		if err := r.Material().Validate(); err != nil {
			return refuse("materials: reinforcements/%d: %v", i, err)
		}
	}
	for i, r := range m.Resins {
		if err := once("resins", r.Key); err != nil {
			return err
		}
		if err := r.Material(m.Catalyst).Validate(); err != nil {
			return refuse("materials: resins/%d: %v", i, err)
		}
	}
	for i, c := range m.Cores {
		if err := once("cores", c.Key); err != nil {
			return err
		}
		if err := c.Material().Validate(); err != nil {
			return refuse("materials: cores/%d: %v", i, err)
		}
	}
	for _, g := range m.Gelcoats {
		if err := once("gelcoats", g.Key); err != nil {
			return err
		}
		if g.Color == "" || !(g.Density > 0 && g.Film >= laminate.FilmMin && g.Film <= laminate.FilmMax) {
			return refuse("materials: gelcoat %q: a color, a density above 0 and a wet film of %g to %g mm", g.Key, laminate.FilmMin, laminate.FilmMax)
		}
	}
	for _, f := range m.Fillers {
		if err := once("fillers", f.Key); err != nil {
			return err
		}
		if !(f.Density > 0 && f.HardenerDensity > 0 && f.HardenerLeast > 0 && f.HardenerPercent >= f.HardenerLeast && f.HardenerMost >= f.HardenerPercent) {
			return refuse("materials: filler %q: density and hardener_density above 0, hardener_percent from hardener_least to hardener_most", f.Key)
		}
		if len(f.Working) == 0 {
			return refuse("materials: filler %q: working: at least one temperature with its minutes", f.Key)
		}
		for i, w := range f.Working {
			if !(w.Minutes > 0) || i > 0 && !(w.Temperature > f.Working[i-1].Temperature) {
				return refuse("materials: filler %q: working/%d: minutes above 0, temperatures rising", f.Key, i)
			}
		}
	}
	for _, c := range m.Coatings {
		if err := once("coatings", c.Key); err != nil {
			return err
		}
		if !(c.Cover > 0) || c.Coats < 1 || c.Unit == "" {
			return refuse("materials: coating %q: cover above 0, at least one coat, a unit", c.Key)
		}
	}
	for _, f := range m.Hardware {
		if err := once("hardware", f.Key); err != nil {
			return err
		}
		if f.Kind != Hinge && f.Kind != Latch && f.Kind != Pull {
			return refuse("materials: hardware %q: kind %q: give %s, %s or %s", f.Key, f.Kind, Hinge, Latch, Pull)
		}
		if !(f.Mass >= 0 && f.Hours >= 0 && f.CutOutLength > 0 && f.CutOutWidth > 0 && f.EdgeDistance >= 0 && f.Reach >= 0 && f.Spacing >= 0 && f.WorkingLoad >= 0 && f.HoldTorque >= 0 && f.StopArm >= 0) {
			return refuse("materials: hardware %q: a cut-out above 0; mass, hours, edge_distance, reach, spacing, working_load, hold_torque and stop_arm of 0 or more", f.Key)
		}
		if f.PadPlies < 0 || f.PadPlies > 0 && !(f.PadLength >= f.CutOutLength && f.PadWidth >= f.CutOutWidth) {
			return refuse("materials: hardware %q: a pad of 0 or more plies, at least as long and wide as the cut-out", f.Key)
		}
	}
	for key, p := range m.Purchasing {
		if err := p.validate(key); err != nil {
			return err
		}
	}
	if len(m.Resins) == 0 || len(m.Reinforcements) == 0 || len(m.Gelcoats) == 0 || len(m.Fillers) == 0 {
		return refuse("materials: at least one reinforcement, resin, gelcoat and filler are needed to build anything")
	}
	return nil
}

func (b *PriceBook) validate() error {
	if b.SchemaVersion != schemaVersion {
		return refuse("price book: schema_version %d: this program reads %d", b.SchemaVersion, schemaVersion)
	}
	if len(b.Currency) != 3 {
		return refuse("price book: currency %q: give three letters of ISO 4217", b.Currency)
	}
	if b.MoldCharge != "once" && b.MoldCharge != "spread" {
		return refuse("price book: mold_charge %q: give \"once\" or \"spread\"", b.MoldCharge)
	}
	if b.MoldCharge == "spread" && b.MoldPieces < 1 {
		return refuse("price book: mold_pieces %d: at least 1 piece that the mold is paid off over", b.MoldPieces)
	}
	for key, p := range b.Prices {
		if !(p.Pack > 0) || p.Unit == "" || p.Per.IsNeg() {
			return refuse("price book: prices/%s: a pack above 0, a unit and a price of 0 or more", key)
		}
	}
	return nil
}

// padded reports whether any fitting asks for a pad.
func (m *Materials) padded() bool {
	for _, f := range m.Hardware {
		if f.PadPlies > 0 {
			return true
		}
	}
	return false
}

// agree checks that the documents know each other's keys.
func (d Documents) agree() error {
	for part, keys := range map[string][]string{"lid_outer": d.Profile.Standard.LidOuter, "lid_inner": d.Profile.Standard.LidInner, "receiver": d.Profile.Standard.Receiver} {
		if len(keys) == 0 {
			return refuse("profile: standard_schedules/%s: list at least one ply", part)
		}
		for _, k := range keys {
			if _, ok := d.Materials.Ply(k); !ok {
				return refuse("profile: standard_schedules/%s: %q is not among the materials", part, k)
			}
		}
	}
	if k := d.Profile.Standard.PadPly; k != "" || d.Materials.padded() {
		if _, ok := d.Materials.Ply(k); !ok {
			return refuse("profile: standard_schedules/pad_ply: %q is not among the materials", k)
		}
	}
	if k := d.Profile.Standard.Core; k != "none" {
		if _, ok := d.Materials.Core(k); !ok {
			return refuse("profile: standard_schedules/core: %q is not among the cores", k)
		}
	}
	for _, c := range d.Profile.Centers {
		if _, ok := d.Prices.HourlyRates[c.Key]; !ok {
			return refuse("price book: hourly_rates: no rate for work center %q", c.Key)
		}
	}
	return nil
}
