package shop

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"time"

	"hatchwright/service/civil"
)

// schemaVersion is the form of the documents that this program reads.
const schemaVersion = 1

// read walks a document against the rules and reads it; nil where it cannot be read.
// look finds what places have wrong with each other.
func read[T any](document string, body []byte, look func(*T, *inspector)) (*T, *inspector) {
	into := new(T)
	i := inspect(document, body, into)
	if err := json.Unmarshal(body, into); err != nil {
		if len(i.faults) == 0 {
			i.add("", "not_json", "This cannot be read: %v.", err)
		}
		return nil, i
	}
	look(into, i)
	return into, i
}

func readProfile(body []byte) (*Profile, *inspector) {
	return read(ProfileDocument, body, (*Profile).look)
}

func readMaterials(body []byte) (*Materials, *inspector) {
	return read(MaterialsDocument, body, (*Materials).look)
}

func readPriceBook(body []byte) (*PriceBook, *inspector) {
	return read(PriceBookDocument, body, (*PriceBook).look)
}

// sound reports whether no fault stands at a place or below it: what is wrong by
// itself is not looked at together with others.
func (i *inspector) sound(pointers ...string) bool {
	return !slices.ContainsFunc(pointers, func(p string) bool { return i.faults.has(i.document, p) })
}

// once notes keys that stand twice; at names the row.
func (i *inspector) once(seen map[string]bool, key, at string) {
	if seen[key] && key != "" {
		i.later(fault(at+"/key", "twice", "The key %q is there already; give each row one of its own.", key))
	}
	seen[key] = true
}

func row(list string, n int) string { return fmt.Sprintf("/%s/%d", list, n) }

// leastOverrun is the least that glass is laid past its trim line, mm, where it is at
// all: less is a slip of units (shop rule, no source).
const leastOverrun = 1.0

// tightnesses are the words that a profile has figures for.
var tightnesses = []string{"drip", "splash", "immersion"}

func (p *Profile) look(i *inspector) {
	if _, err := time.LoadLocation(p.TimeZone); i.sound("/time_zone") && (err != nil || p.TimeZone == "Local") {
		i.later(fault("/time_zone", "unknown_word", "There is no zone %q. Give a name of the IANA data base, like \"America/Halifax\".", p.TimeZone))
	}
	if i.sound("/smallest_side", "/largest_side") && p.LargestSide <= p.SmallestSide {
		i.later(fault("/largest_side", "out_of_order", "This must be more than smallest_side, %g mm.", p.SmallestSide))
	}
	for _, word := range slices.Sorted(maps.Keys(p.Tightness)) {
		if !slices.Contains(tightnesses, word) {
			i.later(fault(Below("/tightness", word), "unknown_field", "There is no such tightness. Known here: %s.", quoted(tightnesses)))
		}
	}
	for _, word := range tightnesses {
		if _, ok := p.Tightness[word]; !ok && i.sound("/tightness") {
			i.later(fault("/tightness/"+word, "missing", "This must be given."))
		}
	}
	for n, b := range p.Crib {
		at := row("crib", n)
		switch {
		case !i.sound(at):
		case b.Kind == RoundOver && b.Radius == 0:
			i.later(fault(at+"/radius", "missing", "A round-over bit has a radius above 0."))
		case b.Kind == Tapered && b.Draft == 0:
			i.later(fault(at+"/draft_deg", "missing", "A tapered bit has a draft above 0."))
		}
	}
	// Glass runs on over the rim's rounding: what is laid past the trim line has to
	// reach over it. A smaller overrun has no face to lie on.
	t := p.Tooling
	if least := max(t.RimRadius, leastOverrun); i.sound("/tooling/rim_radius", "/tooling/ply_overrun") && t.PlyOverrun > 0 && t.PlyOverrun < least {
		f := fault("/tooling/ply_overrun", "out_of_order", "This must reach over the rim's rounding: %g mm or more with a rim_radius of %g mm, or 0 for none.", least, t.RimRadius)
		f.Range = fmt.Sprintf("0, or %g to 200 mm", least)
		i.later(f)
	}
	p.Fit.look(i)
	i.calendar(&p.Calendar)
	centers, posts := map[string]bool{}, 0
	for n, c := range p.Centers {
		i.once(centers, c.Key, row("work_centers", n))
		posts += c.Posts
	}
	if i.sound("/work_centers") && posts > mostPosts {
		f := fault("/work_centers", "too_many_posts", "All work centers together have %d posts at most, not %d: each is a row of every sampled future.", mostPosts, posts)
		f.Range = fmt.Sprintf("1 to %d posts", mostPosts)
		i.later(f)
	}
	for _, kind := range slices.Sorted(maps.Keys(p.Rates)) {
		if at := Below("/rates", kind) + "/work_center"; i.sound(at) && !centers[p.Rates[kind].Center] {
			i.later(fault(at, "unknown", "There is no work center %q. Add it to work_centers, or name one of them.", p.Rates[kind].Center))
		}
	}
}

// calendar looks at the dates of closures; their order and the shifts are looked at
// where the calendar is built.
func (i *inspector) calendar(c *Calendar) {
	for n, k := range c.Closures {
		at := row("calendar/closures", n)
		for _, end := range []struct{ key, date string }{{"from", k.From}, {"to", k.To}} {
			place := at + "/" + end.key
			if !i.sound(place) {
				continue
			}
			d, err := civil.ParseDate(end.date)
			switch {
			case err != nil:
				i.later(fault(place, "wrong_form", "There is no day %q.", end.date))
			case d.Year < firstYear || d.Year > lastYear:
				f := fault(place, "out_of_range", "This must be in the years %d to %d, not %d.", firstYear, lastYear, d.Year)
				f.Range = fmt.Sprintf("%d-01-01 to %d-12-31", firstYear, lastYear)
				i.later(f)
			}
		}
	}
	for n, s := range c.Shifts {
		seen := map[string]bool{}
		for k, day := range s.Days {
			if seen[day] {
				i.later(fault(fmt.Sprintf("/calendar/shifts/%d/days/%d", n, k), "twice", "This day stands in the shift already."))
			}
			seen[day] = true
		}
	}
}

// told turns a refusal of package laminate into a fault of a row.
func (i *inspector) told(at string, err error) {
	if err != nil && i.sound(at) {
		i.later(fault(at, "unusable", "%v.", err))
	}
}

func (m *Materials) look(i *inspector) {
	keys := map[string]bool{}
	for n, r := range m.Reinforcements {
		at := row("reinforcements", n)
		i.once(keys, r.Key, at)
		i.told(at, r.Material().Validate())
	}
	for n, r := range m.Resins {
		at := row("resins", n)
		i.once(keys, r.Key, at)
		i.catalyzed(r.Catalyzed, at+"/catalyzed")
		i.rising(at+"/cure", len(r.Cure), func(k int) float64 { return r.Cure[k].Temperature })
		i.told(at, r.Material(m.Catalyst).Validate())
	}
	for n, g := range m.Gelcoats {
		at := row("gelcoats", n)
		i.once(keys, g.Key, at)
		i.catalyzed(g.Catalyzed, at+"/catalyzed")
	}
	for n, c := range m.Cores {
		at := row("cores", n)
		i.once(keys, c.Key, at)
		i.told(at, c.Material().Validate())
	}
	for n, f := range m.Fillers {
		at := row("fillers", n)
		i.once(keys, f.Key, at)
		if i.sound(at+"/hardener_percent", at+"/hardener_least", at+"/hardener_most") && !(f.HardenerPercent >= f.HardenerLeast && f.HardenerPercent <= f.HardenerMost) {
			o := fault(at+"/hardener_percent", "out_of_range", "This must be from hardener_least to hardener_most, %g to %g %%, not %g.", f.HardenerLeast, f.HardenerMost, f.HardenerPercent)
			o.Range = fmt.Sprintf("%g to %g %%", f.HardenerLeast, f.HardenerMost)
			i.later(o)
		}
		i.rising(at+"/working", len(f.Working), func(k int) float64 { return f.Working[k].Temperature })
	}
	uses := map[string]bool{}
	for n, c := range m.Coatings {
		i.once(keys, c.Key, row("coatings", n))
		uses[c.Use] = true
	}
	for _, use := range []struct{ word, why string }{{UseSeal, "without sealer the wood drinks the resin"}, {UseWax, "without wax the part sticks in the mold"}, {UseRelease, "without a release film the part sticks in the mold"}} {
		if !uses[use.word] && i.wholly("/coatings") {
			i.later(fault("/coatings", "missing", "There is no coating of the use %q, and a mold needs one: %s. Add it with the coats that it takes.", use.word, use.why))
		}
	}
	for n, f := range m.Hardware {
		at := row("hardware", n)
		i.once(keys, f.Key, at)
		if f.PadPlies == 0 || !i.sound(at) {
			continue
		}
		for _, side := range []struct {
			key      string
			pad, cut float64
		}{{"pad_length", f.PadLength, f.CutOutLength}, {"pad_width", f.PadWidth, f.CutOutWidth}} {
			if side.pad < side.cut {
				i.later(fault(at+"/"+side.key, "out_of_order", "A pad is at least as large as the cut-out in it, %g mm; this is %g.", side.cut, side.pad))
			}
		}
	}
	i.once(keys, m.Catalyst.Key, "/catalyst")
}

// wholly reports whether a list has no fault of its own, whatever its rows have.
func (i *inspector) wholly(pointer string) bool {
	return !slices.ContainsFunc(i.faults, func(f Fault) bool { return f.Pointer == pointer })
}

// rising notes the first temperature of a table that does not rise.
func (i *inspector) rising(at string, n int, temperature func(int) float64) {
	for k := 1; k < n && i.sound(at); k++ {
		if temperature(k) <= temperature(k-1) {
			i.later(fault(fmt.Sprintf("%s/%d/temperature", at, k), "out_of_order", "Temperatures rise from row to row: this must be more than %g °C.", temperature(k-1)))
		}
	}
}

// catalyzed looks at a gel chart: its axes rise, it has a cell for each pair of them,
// and some of what it covers is permitted.
func (i *inspector) catalyzed(c Catalyzed, at string) {
	for _, axis := range []struct {
		key  string
		list []float64
	}{{"temperatures", c.Temperatures}, {"percents", c.Percents}} {
		place := at + "/" + axis.key
		for k := 1; k < len(axis.list) && i.sound(place); k++ {
			if axis.list[k] <= axis.list[k-1] {
				i.later(fault(fmt.Sprintf("%s/%d", place, k), "out_of_order", "An axis of the chart rises: this must be more than %g.", axis.list[k-1]))
			}
		}
	}
	if place := at + "/gel_minutes"; i.sound(place) {
		if len(c.GelMinutes) != len(c.Temperatures) {
			i.later(fault(place, "wrong_size", "There are %d rows for %d temperatures; give one for each.", len(c.GelMinutes), len(c.Temperatures)))
		}
		for k, cells := range c.GelMinutes {
			if len(cells) != len(c.Percents) {
				i.later(fault(fmt.Sprintf("%s/%d", place, k), "wrong_size", "There are %d cells for %d percents; give one for each.", len(cells), len(c.Percents)))
			}
		}
	}
	i.faster(c, at)
	if !i.sound(at+"/least_percent", at+"/most_percent") {
		return
	}
	if c.MostPercent < c.LeastPercent {
		i.later(fault(at+"/most_percent", "out_of_order", "This must be least_percent, %g %%, or more.", c.LeastPercent))
		return
	}
	if n := len(c.Percents); n > 0 && i.sound(at+"/percents") && (c.Percents[n-1] < c.LeastPercent || c.Percents[0] > c.MostPercent) {
		i.later(fault(at+"/percents", "out_of_range", "The chart has %g to %g %% and the product takes %g to %g %%: there is no dose to work with.", c.Percents[0], c.Percents[n-1], c.LeastPercent, c.MostPercent))
	}
}

// faster notes the cells of a gel chart that are slower than the one before: more
// catalyst gels no slower, and neither does a warmer shop (facts of the trade; every
// published chart). A chart turned round asks for the most catalyst where the least
// is due. Cells of 0 are forbidden and say nothing.
func (i *inspector) faster(c Catalyzed, at string) {
	if !i.sound(at+"/temperatures", at+"/percents", at+"/gel_minutes") {
		return
	}
	above := make([]float64, len(c.Percents))
	for k, cells := range c.GelMinutes {
		left := 0.0
		for j, minutes := range cells {
			if minutes == 0 {
				continue
			}
			place := fmt.Sprintf("%s/gel_minutes/%d/%d", at, k, j)
			switch {
			case left > 0 && minutes > left:
				i.later(fault(place, "out_of_order", "More catalyst gels no slower: this must be %g min or less, as with less catalyst. Look whether the row is turned round.", left))
			case above[j] > 0 && minutes > above[j]:
				i.later(fault(place, "out_of_order", "A warmer shop gels no slower: this must be %g min or less, as in the cooler row above. Look whether the rows are turned round.", above[j]))
			}
			left, above[j] = minutes, minutes
		}
	}
}

func (b *PriceBook) look(i *inspector) {
	if b.MoldCharge == "spread" && b.MoldPieces < 1 && i.sound("/mold_pieces") {
		i.later(fault("/mold_pieces", "out_of_range", "With the mold charge \"spread\" this must be at least 1: the pieces that the mold is paid off over."))
	}
}

// padded reports whether any fitting asks for a pad.
func (m *Materials) padded() bool {
	return slices.ContainsFunc(m.Hardware, func(f Fitting) bool { return f.PadPlies > 0 })
}

// between looks at what the documents say of each other. What does not fit is told of
// the document that is judged, or else of the one that names what is not there.
func (d Documents) between(judged string) Faults {
	var out Faults
	tell := func(document, pointer, code, format string, args ...any) {
		f := fault(pointer, code, format, args...)
		f.Document = document
		out = append(out, f)
	}
	lack := func(pointer, key, list string) {
		if judged == MaterialsDocument {
			tell(MaterialsDocument, "/"+list, "needed", "The profile's %s is %q, and there is no such row. Keep it, or take it out of the profile first.", pointer[1:], key)
			return
		}
		tell(ProfileDocument, pointer, "unknown", "%q is not among the %s of the materials.", key, list)
	}
	std := d.Profile.Standard
	for _, part := range []struct {
		name string
		keys []string
	}{{"lid_outer", std.LidOuter}, {"lid_inner", std.LidInner}, {"receiver", std.Receiver}} {
		for n, k := range part.keys {
			if _, ok := d.Materials.Ply(k); !ok {
				lack(fmt.Sprintf("/standard_schedules/%s/%d", part.name, n), k, "reinforcements")
			}
		}
	}
	if k := std.PadPly; k != "" || d.Materials.padded() {
		if _, ok := d.Materials.Ply(k); !ok {
			lack("/standard_schedules/pad_ply", k, "reinforcements")
		}
	}
	if k := std.Core; k != "none" {
		if _, ok := d.Materials.Core(k); !ok {
			lack("/standard_schedules/core", k, "cores")
		}
	}
	for n, c := range d.Profile.Centers {
		if _, ok := d.Prices.HourlyRates[c.Key]; ok {
			continue
		}
		if judged == PriceBookDocument {
			tell(PriceBookDocument, "/hourly_rates", "needed", "There is no rate for the work center %q of the profile.", c.Key)
		} else {
			tell(ProfileDocument, row("work_centers", n)+"/key", "unknown", "The price book has no hourly rate for %q. Add a price book with it first.", c.Key)
		}
	}
	// Documents kept from before this was asked go on: nothing but the book's own
	// currency is ever reckoned in.
	if p, b := d.Profile.Currency, d.Prices.Currency; judged != "" && judged != MaterialsDocument && p != "" && p != b {
		document, other, is := ProfileDocument, "price book", b
		if judged == PriceBookDocument {
			document, other, is = PriceBookDocument, "profile", p
		}
		tell(document, "/currency", "currency", "The %s is in %s. To change the currency put a profile without one, then the price book in the new one, then the profile with it.", other, is)
	}
	return out
}
