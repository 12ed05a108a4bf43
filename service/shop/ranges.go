package shop

import (
	"hatchwright/service/laminate"
	"hatchwright/service/schedule"
)

// Reasons that several ranges have.
const (
	slip      = "anything beyond is a slip of the keyboard or of the unit (shop rule)"
	sizes     = "it sizes what each answer takes of memory and time (shop rule)"
	decides   = "a hatch has no more (shop rule)"
	leaves    = "0 or left out stands for the standard figure"
	perMeter  = "0.60 to 0.85 is common practice, no source"
	noMaker   = "0 where the maker gives none"
	liquid    = "laminating resins are 1030 to 1150 as poured: data sheets (1.08 to 1.15 of polyester), vinylester from memory"
	catalyzed = "under 0.5 % it does not cure through and over 4 % it overheats; published sheets go from 1 to 4 % (a supplier's chart has 3 and 4 % for the cold), the ends are common practice, no source"
	paste     = "1 to 3 % of paste hardener is published for body filler; over 5 % it stays soft and stains (common practice, no source)"
	shopHeat  = "no product of this trade is worked outside it: suppliers' charts run from 5 to 35 °C"
	wasted    = "a share, 0.15 for 15 %; the trade loses 0.05 to 0.40 (common practice, no source)"
	money     = "more is a percentage written where a share is asked for"
)

// rules is the one table of what the three documents may hold, by place: the type of
// the row and its key, then "/*" for each list or map that it is a row of. The
// contract's document has the same ranges, which a test compares.
var rules = map[string]Rule{
	// The profile.
	"Profile.schema_version":   figure(schemaVersion, schemaVersion, "", "the form of the document that this program reads"),
	"Profile.name":             text(1, 200),
	"Profile.time_zone":        text(1, 100),
	"Profile.units":            words("mm"),
	"Profile.currency":         form(formCurrency),
	"Profile.shop_temperature": figure(0, 45, "°C", shopHeat),
	"Profile.largest_side":     figure(100, 4000, "mm", "more than two can carry, and than a few sheets make"),
	"Profile.smallest_side":    figure(20, 2000, "mm", "less than a hand goes through"),
	"Profile.tightness":        rows(1, 3, "drip, splash and immersion"),
	"Profile.defaults":         rows(1, 200, sizes),
	"Profile.sheets":           rows(1, 50, sizes),
	"Profile.crib":             rows(0, 200, sizes),
	"Profile.work_centers":     rows(1, 50, sizes),
	"Profile.rates":            rows(1, 100, sizes),
	"Profile.waits":            rows(0, 100, sizes),
	"Profile.waits/*":          figure(0, 336, "h", "two weeks; what rests longer is no step of a mold"),
	"Tightness.coaming_height": figure(0, 500, "mm", slip),
	"Tightness.bolt_pitch":     figure(20, 1000, "mm", "bolts closer than 20 mm leave no laminate between them (shop rule)"),

	"StandardSchedules.lid_outer":   rows(1, 20, decides),
	"StandardSchedules.lid_outer/*": text(1, longestKey),
	"StandardSchedules.lid_inner":   rows(1, 20, decides),
	"StandardSchedules.lid_inner/*": text(1, longestKey),
	"StandardSchedules.core":        text(1, longestKey),
	"StandardSchedules.receiver":    rows(1, 20, decides),
	"StandardSchedules.receiver/*":  text(1, longestKey),
	"StandardSchedules.pad_ply":     text(0, longestKey),

	"Tooling.base_margin":         figure(0, 500, "mm", slip),
	"Tooling.base_thickness":      figure(3, 100, "mm", "thinner than any board bends under the mold"),
	"Tooling.trim_allowance":      figure(0, 200, "mm", slip),
	"Tooling.sheet_tolerance":     figure(0, 5, "mm", "more is another sheet"),
	"Tooling.cavity_margin":       figure(0, 500, "mm", slip),
	"Tooling.rim_radius":          figure(0, 50, "mm", "round-over bits go to 25 mm"),
	"Tooling.kerf":                figure(0, 15, "mm", "saws take 0.8 to 4.4 mm, router bits 6 to 12: trade pages on kerf per tool"),
	"Tooling.sheet_trim":          figure(0, 50, "mm", "5 to 10 mm off a factory edge is common practice, no source"),
	"Tooling.ply_overrun":         figure(0, 200, "mm", "25 to 50 mm is common practice, no source"),
	"Tooling.size_tolerance":      orZero(0.01, 2, "mm", leaves),
	"Tooling.trunk_tolerance":     orZero(0.01, 5, "mm", leaves),
	"Tooling.layout_error":        orZero(0.01, 5, "mm", leaves),
	"Tooling.copy_error":          orZero(0.01, 2, "mm", leaves),
	"Tooling.bit_error":           orZero(0.01, 2, "mm", leaves),
	"Tooling.fairing_error":       orZero(0.01, 5, "mm", leaves),
	"Tooling.trim_error":          orZero(0.01, 5, "mm", leaves),
	"Tooling.shrinkage_variation": orZero(0.01, 1, "", "a share of the shrinkage; "+leaves),
	"Tooling.template_thickness":  orZero(3, 50, "mm", leaves),
	"Tooling.blank_margin":        orZero(1, 200, "mm", leaves),
	"Tooling.screw_pitch":         orZero(25, 1000, "mm", "screws closer than 25 mm split a board; "+leaves),
	"Tooling.screw_edge":          orZero(10, 200, "mm", "12 mm is the least that fastener guides for MDF ask for; "+leaves),
	"Tooling.screw_least":         orZero(1, 50, "", leaves),
	"Tooling.nest_budget":         orZero(100, 50_000, "", sizes+"; "+leaves),

	"Sheet.key":       text(1, longestKey),
	"Sheet.thickness": figure(2, 60, "mm", "MDF is sold from 2 to 60 mm (from memory)"),
	"Sheet.length":    figure(300, 6000, "mm", "MDF is sold up to 3660 mm; less than 300 is an offcut (shop rule)"),
	"Sheet.width":     figure(300, 3000, "mm", "MDF is sold up to 2440 mm; less than 300 is an offcut (shop rule)"),
	"Sheet.density":   figure(300, 1200, "kg/m³", "panel data sheets: 600 to 880, MDF 680 to 830"),
	"Sheet.source":    text(0, 1000),

	"Bit.key":            text(1, longestKey),
	"Bit.kind":           words(FlushTrim, Rabbet, RoundOver, Tapered),
	"Bit.diameter":       figure(1, 150, "mm", "no router turns a larger cutter"),
	"Bit.bearings":       rows(0, 40, sizes),
	"Bit.bearings/*":     figure(1, 150, "mm", "as the cutter"),
	"Bit.cutting_length": figure(3, 200, "mm", "no router turns a longer cutter"),
	"Bit.radius":         figure(0, 75, "mm", "as the cutter"),
	"Bit.draft_deg":      figure(0, 45, "deg", "a wall's draft goes no further"),

	"Calendar.shifts":   rows(1, 50, sizes),
	"Calendar.closures": rows(0, 200, sizes),
	"Shift.days":        rows(1, 7, "the days of the week, each once"),
	"Shift.days/*":      words("mon", "tue", "wed", "thu", "fri", "sat", "sun"),
	"Shift.start":       form(formClock),
	"Shift.end":         form(formClock),
	"Closure.from":      form(formDate),
	"Closure.to":        form(formDate),
	"Closure.reason":    text(0, 1000),

	"Center.key":   text(1, longestKey),
	"Center.name":  text(0, 1000),
	"Center.posts": figure(1, 200, "", "each post is a row of all 256 sampled futures"),

	"Rate.work_center":         text(1, longestKey),
	"Rate.setup_hours":         figure(0, 100, "h", slip),
	"Rate.hours_each":          figure(0, 100, "h", slip),
	"Rate.driver":              text(0, 1000),
	"Rate.crew":                figure(1, 50, "", "a shop of a few people"),
	"Rate.follow_within_hours": figure(1, 10_000, "h", "less than an hour cannot be planned; left out for no limit"),

	"Waste.glass":   figure(0, 1, "", wasted),
	"Waste.resin":   figure(0, 1, "", wasted),
	"Waste.gelcoat": figure(0, 1, "", wasted),
	"Waste.filler":  figure(0, 1, "", wasted),
	"Waste.sheet":   figure(0, 1, "", wasted),
	"Waste.coating": figure(0, 1, "", wasted),
	"Waste.core":    figure(0, 1, "", wasted),

	"Strength.allowable_share": orZero(0.05, 1, "", "of the ultimate stress; ISO 12215-5:2008 table 7 allows one half, for which 0 stands"),

	"Mixing.wet_out_rate": figure(0.5, 30, "kg/h", "one hand lays 1.5 to 4 kg of laminate an hour, within a factor of two (common practice, no source)"),
	"Mixing.spray_rate":   figure(0.5, 200, "kg/h", "a brush puts on a few kg of gelcoat an hour, a spray gun tens (common practice, no source)"),
	"Mixing.spread_rate":  figure(0.5, 30, "kg/h", "a hand spreads a few kg of filler an hour (common practice, no source)"),
	"Mixing.transfer":     words(string(laminate.Spray), string(laminate.Brush)),

	"Seal.force_per_mm": figure(0, 10, "N", "foam and bulb seals press 0.1 to 2 N on each mm (common practice, no source)"),
	"Seal.compression":  figure(0.05, 0.9, "", "one supplier's seals are pressed 0.10 to 0.50 of their thickness"),

	"OpenLid.angle_deg":  orZero(10, 180, "deg", leaves),
	"OpenLid.hand_force": orZero(1, 5000, "N", "several people's weight at most; "+leaves),
	"OpenLid.gust_speed": orZero(1, 80, "m/s", "more wind than any hatch is opened in; "+leaves),

	"Fit.odds_caution": orZero(leastOdds, StandardOddsCaution, "", "a share of hatches; a shop may only be stricter than one in fifty; "+leaves),
	"Fit.odds_error":   orZero(leastOdds, StandardOddsError, "", "a share of hatches; a shop may only be stricter than one in ten; "+leaves),

	"Uncertainty.sigma":           orZero(0.01, schedule.MaxSigma, "", "a deviation of ln(actual / estimate); "+leaves),
	"Uncertainty.kinds":           rows(0, 100, sizes),
	"Uncertainty.kinds/*":         figure(0, schedule.MaxSigma, "", "a deviation of ln(actual / estimate)"),
	"Uncertainty.wait_sigma":      figure(0, schedule.MaxSigma, "", "a deviation of ln(actual / estimate)"),
	"Uncertainty.common":          figure(0, 1, "", "a share"),
	"Uncertainty.weight":          orZero(0.1, 10_000, "", "more reports of one kind than a shop makes in years; "+leaves),
	"Uncertainty.first_pull_risk": figure(0, 1, "", "a probability"),

	// The materials.
	"Materials.schema_version": figure(schemaVersion, schemaVersion, "", "the form of the document that this program reads"),
	"Materials.reinforcements": rows(1, 40, "the search for a schedule looks at all of them"),
	"Materials.resins":         rows(1, 40, sizes),
	"Materials.gelcoats":       rows(1, 100, sizes),
	"Materials.cores":          rows(0, 40, "the search for a schedule looks at all of them"),
	"Materials.fillers":        rows(1, 20, sizes),
	"Materials.coatings":       rows(3, 20, "a sealer, a wax and a release at least"),
	"Materials.hardware":       rows(0, 200, sizes),
	"Materials.purchasing":     rows(0, 500, sizes),

	"Reinforcement.key":            text(1, longestKey),
	"Reinforcement.name":           text(0, 1000),
	"Reinforcement.kind":           words(string(laminate.Mat), string(laminate.Sprayed), string(laminate.Woven), string(laminate.Stitched), string(laminate.Unidirectional)),
	"Reinforcement.areal_mass":     figure(50, 3000, "g/m²", "cloth begins at 80; a fabric of more cannot be wetted out by hand (common practice, no source)"),
	"Reinforcement.mat_mass":       orZero(50, 1500, "g/m²", "mat is sold from 100 to 900; 0 or left out where there is none"),
	"Reinforcement.glass_fraction": figure(0.2, 0.7, "", "ISO 12215-5:2008 table C.2 has 0.25 to 0.66 by kind and process"),
	"Reinforcement.roll_width":     orZero(100, 5000, "mm", "data sheets: 965 and 1270; 0 where it is not cut from a roll"),
	"Reinforcement.source":         text(0, 1000),

	"Resin.key":            text(1, longestKey),
	"Resin.name":           text(0, 1000),
	"Resin.cured_density":  figure(1000, 1500, "kg/m³", "data sheets: 1200 ± 20"),
	"Resin.liquid_density": figure(900, 1400, "kg/m³", liquid),
	"Resin.cure":           rows(1, 50, sizes),
	"Resin.exotherm_limit": orZero(0.5, 20, "mm", "3 to 5 mm is common practice, no source; 0 stands for 4"),
	"Resin.shrinkage":      figure(0, 0.02, "", "0.001 to 0.005 of the laminate's length, from memory"),
	"Resin.source":         text(0, 1000),

	"Catalyzed.least_temperature":  figure(5, 40, "°C", shopHeat),
	"Catalyzed.temperatures":       rows(1, 50, sizes),
	"Catalyzed.temperatures/*":     figure(0, 60, "°C", shopHeat),
	"Catalyzed.percents":           rows(1, 50, sizes),
	"Catalyzed.percents/*":         figure(LeastCatalyst, MostCatalyst, "%", catalyzed),
	"Catalyzed.gel_minutes":        rows(1, 50, sizes),
	"Catalyzed.gel_minutes/*":      rows(1, 50, sizes),
	"Catalyzed.gel_minutes/*/*":    orZero(1, 1440, "min", "in less than a minute nothing is laid; 0 where it is forbidden"),
	"Catalyzed.least_percent":      figure(LeastCatalyst, MostCatalyst, "%", catalyzed),
	"Catalyzed.most_percent":       figure(LeastCatalyst, MostCatalyst, "%", catalyzed),
	"Catalyzed.target_gel_minutes": orZero(1, 1440, "min", "as the gel times; 0 stands for 20"),

	"CurePoint.temperature": figure(0, 60, "°C", shopHeat),
	"CurePoint.hours":       figure(0.25, 500, "h", "from a quarter of an hour to three weeks in the mold"),

	"Gelcoat.key":            text(1, longestKey),
	"Gelcoat.name":           text(0, 1000),
	"Gelcoat.color":          text(1, longestKey),
	"Gelcoat.density":        figure(1000, 1600, "kg/m³", "pigmented gelcoat is 1200 to 1350, from memory; 1250 follows from a supplier's coverage"),
	"Gelcoat.film":           figure(laminate.FilmMin, laminate.FilmMax, "mm", "suppliers' guide sheets"),
	"Gelcoat.transfer_spray": figure(0.3, 1, "", perMeter),
	"Gelcoat.source":         text(0, 1000),

	"Core.key":       text(1, longestKey),
	"Core.name":      text(0, 1000),
	"Core.kind":      words(string(laminate.Balsa), string(laminate.PVCCrosslinkI), string(laminate.PVCCrosslinkII), string(laminate.PVCLinear), string(laminate.SAN), string(laminate.Plywood)),
	"Core.density":   figure(30, 800, "kg/m³", "ISO 12215-5:2008 table D.1 has 33 to 250 by kind; marine plywood to 750"),
	"Core.thickness": figure(2, 100, "mm", "thicker is no hatch"),
	"Core.bed_resin": figure(0, 5, "kg/m²", slip),
	"Core.source":    text(0, 1000),

	"Filler.key":               text(1, longestKey),
	"Filler.name":              text(0, 1000),
	"Filler.density":           figure(300, 2500, "kg/m³", "light fillers 1000, talc 1900, from memory"),
	"Filler.hardener_percent":  figure(LeastHardener, MostHardener, "%", paste),
	"Filler.hardener_least":    figure(LeastHardener, MostHardener, "%", paste),
	"Filler.hardener_most":     figure(LeastHardener, MostHardener, "%", paste),
	"Filler.hardener_density":  figure(900, 1500, "kg/m³", "paste hardener is 1100 to 1250, from memory"),
	"Filler.least_temperature": figure(5, 40, "°C", shopHeat),
	"Filler.working":           rows(1, 50, sizes),
	"Filler.source":            text(0, 1000),
	"WorkingPoint.temperature": figure(0, 60, "°C", shopHeat),
	"WorkingPoint.minutes":     figure(1, 1440, "min", "in less than a minute nothing is spread"),

	"Coating.key":    text(1, longestKey),
	"Coating.name":   text(0, 1000),
	"Coating.use":    words(UseSeal, UseWax, UseRelease),
	"Coating.coats":  figure(1, 20, "", "3 to 12 are told of"),
	"Coating.cover":  figure(0.5, 500, "m²", "of one unit in one coat: liters of film cover 8, kilograms of wax 60 (shop setting)"),
	"Coating.unit":   text(1, 20),
	"Coating.source": text(0, 1000),

	"Fitting.key":            text(1, longestKey),
	"Fitting.name":           text(0, 1000),
	"Fitting.kind":           words(Hinge, Latch, Pull),
	"Fitting.mass":           figure(0, 50, "kg", slip),
	"Fitting.hours":          figure(0, 40, "h", slip),
	"Fitting.cut_out_length": figure(1, 1000, "mm", slip),
	"Fitting.cut_out_width":  figure(1, 1000, "mm", slip),
	"Fitting.edge_distance":  figure(0, 500, "mm", slip),
	"Fitting.reach":          figure(0, 500, "mm", slip),
	"Fitting.spacing":        figure(0, 1000, "mm", slip),
	"Fitting.pad_length":     figure(0, 1500, "mm", slip),
	"Fitting.pad_width":      figure(0, 1500, "mm", slip),
	"Fitting.pad_plies":      figure(0, 40, "", decides),
	"Fitting.working_load":   orZero(1, 100_000, "N", noMaker),
	"Fitting.hold_torque":    figure(0, 1000, "N m", "0 where it turns freely"),
	"Fitting.stop_arm":       orZero(1, 500, "mm", "0 where it has no stop"),
	"Fitting.source":         text(0, 1000),
	"Screws.count":           figure(0, 100, "", decides),
	"Screws.diameter":        figure(0, 20, "mm", slip),
	"Screws.pattern_length":  figure(0, 1000, "mm", slip),
	"Screws.pattern_width":   figure(0, 1000, "mm", slip),

	"Catalyst.key":     text(1, longestKey),
	"Catalyst.name":    text(0, 1000),
	"Catalyst.density": figure(900, 1300, "kg/m³", "safety sheets of peroxide give 1150 to 1170, from memory; g/mL is not taken"),
	"Catalyst.source":  text(0, 1000),

	"Purchase.supplier":          text(0, 1000),
	"Purchase.lead_working_days": figure(0, 500, "", "two years (shop rule)"),
	"Purchase.least_packs":       figure(0, 10_000, "", "0 or left out stands for 1"),
	"Purchase.shelf_days":        figure(0, 7320, "", "twenty years; 0 or left out for what does not age"),

	// The price book.
	"PriceBook.schema_version":  figure(schemaVersion, schemaVersion, "", "the form of the document that this program reads"),
	"PriceBook.version":         text(0, 1000),
	"PriceBook.currency":        form(formCurrency),
	"PriceBook.prices":          rows(1, 800, sizes),
	"PriceBook.hourly_rates":    rows(1, 100, sizes),
	"PriceBook.hourly_rates/*":  exact(0, 1_000_000, "", "an hour in any currency"),
	"PriceBook.overhead":        exact(0, 5, "", money),
	"PriceBook.margin":          exact(0, 5, "", money),
	"PriceBook.mold_charge":     words("once", "spread"),
	"PriceBook.mold_pieces":     figure(0, 10_000, "", "more than any mold gives"),
	"PriceBook.quantity_breaks": rows(0, 50, sizes),
	"Price.unit":                text(1, 20),
	"Price.pack":                figure(0.001, 100_000, "", "a gram of a kilogram to a hundred tons of it"),
	"Price.price_per_pack":      exact(0, 100_000_000, "", "a pack in any currency"),
	"Break.from":                figure(1, 10_000, "", "an order is of 200 at most"),
	"Break.discount":            share(),
}

// share is what a discount may be: of all of the price nothing would be left.
func share() Rule {
	r := exact(0, 1, "", "a share, 0.04 for 4 %; with 1 nothing is left of the price")
	r.Below = true
	return r
}

// Bounds of catalyst and hardener, percent by mass, beyond which no mix is offered
// (common practice, no source; see the reasons above).
const (
	LeastCatalyst = 0.5
	MostCatalyst  = 4.0
	LeastHardener = 0.5
	MostHardener  = 5.0
)

// The uses of coatings. A mold needs each: without sealer the wood drinks the resin,
// without wax and release the part does not come off.
const (
	UseSeal    = "seal"
	UseWax     = "wax"
	UseRelease = "release"
)

// mostPosts is how many posts all work centers have together: each is a row of every
// sampled future.
const mostPosts = 500

// Years that dates of the calendar are within.
const firstYear, lastYear = 2000, 2199
