package derivation

import (
	"fmt"
	"math"
	"slices"
	"time"

	"hatchwright/service/bill"
	"hatchwright/service/civil"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// LeadTime is when the work is done if it starts now in an empty shop.
type LeadTime struct {
	Start        time.Time
	Finish       time.Time
	FinishDay    civil.Date // the shop's working day on which the last operation ends
	Steps        []routing.Step
	Placements   []schedule.Placement
	WorkingHours float64 // person-hours
	Critical     schedule.Critical
}

const millimetersPerMeter = 1000

// Route is the graph of operations of what was derived, with so many molds of each
// part pulled in turn. Error: shop data that lacks what is needed.
func (e *Engine) Route(r *Result, molds int) ([]routing.Step, error) {
	cure, err := e.cure(r)
	if err != nil {
		return nil, err
	}
	w := routing.Work{Quantity: int(r.Configuration.Quantity), CureHours: cure, Molds: molds}
	for _, c := range e.docs.Materials.Coatings {
		switch c.Use {
		case "seal":
			w.SealCoats = c.Coats
		case "wax":
			w.WaxCoats = c.Coats
		case "release":
			w.ReleaseCoats = c.Coats
		}
	}
	for _, h := range r.Configuration.Hardware {
		f, _ := e.docs.Materials.Fitting(h.Item)
		w.FittingHours += f.Hours * float64(h.Count)
	}
	edges := map[part.Part]float64{
		part.Receiver: r.Geometry.Outlines.Flange.Perimeter() + r.Geometry.Outlines.ClearOpening.Perimeter(),
		part.Lid:      r.Geometry.Outlines.Lid.Perimeter(),
	}
	templates := templatesOf(r)
	for _, m := range r.Molds {
		l := &r.Receiver
		if m.Part == part.Lid {
			l = &r.Lid
		}
		p := routing.Part{Name: string(m.Part), Templates: templates[m.Part], FaceArea: m.FaceArea * squareMeter, EdgeLength: edges[m.Part] / millimetersPerMeter}
		for _, layer := range m.Layers {
			p.Panels += len(layer.Stack.Sheets)
			p.Layers += len(layer.Stack.Sheets)
			if layer.Outline != nil {
				p.Outlines += len(layer.Stack.Sheets)
			}
		}
		for _, f := range m.Fillets {
			p.FilletLength += f.Length / millimetersPerMeter
		}
		plies := l.Stack.Plies()
		p.Pieces = len(plies)
		for _, s := range l.Stages {
			mass := 0.0
			for _, i := range s.Plies {
				mass += (plies[i].GlassMass() + plies[i].ResinMass()) * l.LaidArea * squareMeter
			}
			p.StageMasses = append(p.StageMasses, mass)
		}
		w.Parts = append(w.Parts, p)
	}
	w.Templates = templates[shared]
	steps, err := routing.Build(w, e.docs.Profile)
	if err != nil {
		return nil, err
	}
	return steps, nil
}

// cure is the time to demold at the shop's temperature, hours, from the resin's
// own table. Outside the table there is no answer, never a guess.
func (e *Engine) cure(r *Result) (float64, error) {
	hours, err := r.Lid.Resin.Material(e.docs.Materials.Catalyst).CureHours(e.docs.Profile.ShopTemperature)
	if err != nil {
		return 0, fmt.Errorf("time to demold: %w", err)
	}
	return hours, nil
}

// place schedules the steps in an empty shop.
func (e *Engine) place(steps []routing.Step, start time.Time) (LeadTime, error) {
	l := LeadTime{Start: start, Steps: steps}
	plan, err := schedule.Serial([]schedule.Job{routing.Job("order", steps)}, e.centers, start, nil)
	if err != nil {
		return l, fmt.Errorf("lead time: %w", err)
	}
	l.Placements = plan.Placements
	l.Finish, l.Critical = plan.Jobs[0].End, plan.Jobs[0].Critical
	if l.FinishDay, err = e.calendar.WorkingDay(l.Finish); err != nil {
		return l, fmt.Errorf("lead time: %w", err)
	}
	for _, s := range steps {
		l.WorkingHours += s.Hours * float64(s.Crew)
	}
	return l, nil
}

// ruleRuns rules on work that must not be broken off against the longest run of the
// shop's shifts: of each kind of each part the longest.
func (e *Engine) ruleRuns(steps []routing.Step, c *part.Configuration) []finding.Finding {
	longest := e.calendar.LongestRun()
	worst := map[[2]string]*routing.Step{}
	var order [][2]string
	for i := range steps {
		s := &steps[i]
		if k := [2]string{s.Part, s.Kind}; s.Unbroken && s.Labor > longest {
			if worst[k] == nil {
				order = append(order, k)
			}
			if worst[k] == nil || s.Labor > worst[k].Labor {
				worst[k] = s
			}
		}
	}
	var out []finding.Finding
	for _, k := range order {
		s := worst[k]
		pointer := "/outline"
		if s.Kind == "laminate" {
			pointer = laminatePointer(c, part.Part(s.Part))
		}
		f := finding.Finding{Code: "lead_time.over_a_run", Severity: finding.Caution, Pointer: pointer,
			Measured: quantity.Of(s.Labor.Hours(), quantity.Hour), Limit: quantity.Of(longest.Hours(), quantity.Hour), Source: "shop calendar and rates"}
		out = append(out, f.Say("%q takes %v and must not be broken off, and the longest run of shifts is %v: plan overtime for it, or more hands at the rate %q.", s.Key, f.Measured, f.Limit, s.Kind))
	}
	return out
}

const neededBy = "lead_time.needed_by"

// ruleNeededBy rules on the date that was asked for, by the end of the work in an
// empty shop.
func (e *Engine) ruleNeededBy(r *Result) *finding.Finding {
	day := r.LeadTime.FinishDay
	f := late(r, civil.DateOf(r.LeadTime.Start, e.Location()), day, "shop calendar and rates, no other work in the shop")
	if f == nil {
		return nil
	}
	said := f.Say("The work ends on %s, %v after it starts; it is wanted on %s, %v after.", day, f.Measured, r.Configuration.NeededBy, f.Limit)
	return &said
}

// Promise rules anew on the date that was asked for: by a promised day, in the place
// of the end of the work in an empty shop. source says what the promise rests on.
func (r *Result) Promise(start, day civil.Date, source string) {
	f := late(r, start, day, source)
	at := slices.IndexFunc(r.Findings, func(f finding.Finding) bool { return f.Code == neededBy })
	if f == nil && at < 0 {
		return
	}
	list := slices.DeleteFunc(slices.Clone(r.Findings), func(f finding.Finding) bool { return f.Code == neededBy })
	if f != nil {
		list = append(list, f.Say("The promise is %s, %v after the work may start; it is wanted on %s, %v after.", day, f.Measured, r.Configuration.NeededBy, f.Limit))
	}
	finding.Sort(list)
	r.Findings, r.Verdict = list, finding.Judge(list)
}

// late is the finding that a day is after the one that was asked for; nil when it is
// not, or none was.
func late(r *Result, start, day civil.Date, source string) *finding.Finding {
	if r.Configuration.NeededBy == "" {
		return nil
	}
	wanted, err := civil.ParseDate(r.Configuration.NeededBy)
	if err != nil || day.Compare(wanted) <= 0 {
		return nil
	}
	days := func(d civil.Date) quantity.Value {
		return quantity.Of(math.Round(d.At(0, time.UTC).Sub(start.At(0, time.UTC)).Hours()/24), quantity.Day)
	}
	return &finding.Finding{
		Code: neededBy, Severity: finding.Caution, Pointer: "/needed_by", Measured: days(day), Limit: days(wanted),
		Source: source, Mends: []finding.Mend{finding.Choose("/needed_by", day.String())},
	}
}

// needs are the net quantities of everything that is bought.
func (e *Engine) needs(r *Result) ([]bill.Need, error) {
	n := r.Configuration.Quantity
	waste := e.docs.Profile.Waste
	var needs []bill.Need
	add := func(of, key, name, purpose string, net float64, unit string, w float64, from string) {
		if net > 0 {
			needs = append(needs, bill.Need{Part: of, Key: key, Name: name, Purpose: purpose, Net: net, Unit: unit, Waste: w, From: from})
		}
	}
	filler := e.docs.Materials.Fillers[0]
	for i, u := range r.SheetsUsed() {
		add("", u.Stock, "MDF sheets of the cut list", bill.ForMold, u.Area*squareMeter, "m2", 0, fmt.Sprintf("/tooling/stock/%d/area", i))
	}
	for i, m := range r.Molds {
		at := fmt.Sprintf("/tooling/molds/%d", i)
		add(string(m.Part), filler.Key, filler.Name, bill.ForMold, m.FillerMass, "kg", waste.Filler, at+"/filler_mass")
		face := m.FaceArea * squareMeter
		for _, c := range e.docs.Materials.Coatings {
			coats, purpose := float64(c.Coats), bill.ForMold
			switch c.Use {
			case "wax":
				coats, purpose = coats+n-1, bill.ForConsumable // all coats first, one for each later pull
			case "release":
				coats, purpose = coats*n, bill.ForConsumable
			}
			add(string(m.Part), c.Key, c.Name, purpose, face*coats/c.Cover, c.Unit, waste.Coating, at+"/face_area")
		}
	}
	for _, side := range []struct {
		of part.Part
		l  *Laminate
	}{{part.Receiver, &r.Receiver}, {part.Lid, &r.Lid}} {
		at := "/laminate/" + string(side.of)
		cut, err := e.glass(r, side.of, side.l)
		if err != nil {
			return nil, err
		}
		needs = append(needs, cut...)
		add(string(side.of), side.l.Resin.Key, side.l.Resin.Name, bill.ForPart, side.l.ResinMass*n, "kg", waste.Resin, at+"/resin_mass")
		coat := side.l.Gelcoat
		add(string(side.of), coat.Key, coat.Name, bill.ForPart, side.l.GelcoatMass/transfer(coat, e.docs.Profile)*n, "kg", waste.Gelcoat, at+"/gelcoat_mass")
		if side.l.Core != nil {
			add(string(side.of), side.l.Core.Key, side.l.Core.Name, bill.ForPart, side.l.CoreArea*squareMeter*n, "m2", waste.Core, at+"/core_area")
		}
	}
	hot := e.docs.Materials.Catalyst
	for _, p := range part.Parts {
		add(string(p), hot.Key, hot.Name+", for the "+string(p), bill.ForPart, catalyst(r.Mixes, p)*n, "kg", 0, "/laminate/"+string(p)+"/resin_mass")
	}
	add("", sealKey, "Seal strip", bill.ForPart, r.Geometry.Outlines.Trunk.Perimeter()/millimetersPerMeter*n, "m", sealWaste, "/geometry/outlines/trunk/perimeter")
	for i, h := range r.Configuration.Hardware {
		f, _ := e.docs.Materials.Fitting(h.Item)
		add("", f.Key, f.Name, bill.ForPart, float64(h.Count)*n, "piece", 0, fmt.Sprintf("/configuration/hardware/%d/count", i))
		if f.PadPlies > 0 {
			pad := e.pad(r.Lid.Resin)
			area := padArea(f) * squareMeter * float64(h.Count) * n
			at := fmt.Sprintf("/configuration/hardware/%d/count", i)
			add("", pad.Reinforcement.Key, pad.Reinforcement.Name+", pads", bill.ForPart, area, "m2", waste.Glass, at)
			add("", r.Lid.Resin.Key, r.Lid.Resin.Name+", pads", bill.ForPart, area*pad.ResinMass(), "kg", waste.Resin, at)
		}
	}
	return needs, nil
}

// sealKey is the seal's row in the price book; sealWaste what its corners and
// joints take (shop setting).
const (
	sealKey   = "seal strip"
	sealWaste = 0.05
)

// labor sums person-hours by kind, molds apart from parts, in the order in which
// the kinds first appear.
func labor(steps []routing.Step) []bill.Hours {
	type key struct {
		kind string
		mold bool
	}
	index := map[key]int{}
	var out []bill.Hours
	for _, s := range steps {
		k := key{s.Kind, s.Mold}
		i, ok := index[k]
		if !ok {
			i = len(out)
			index[k] = i
			out = append(out, bill.Hours{Kind: s.Kind, Center: s.WorkCenter, Mold: s.Mold})
		}
		out[i].Hours += s.Hours * float64(s.Crew)
	}
	return out
}
