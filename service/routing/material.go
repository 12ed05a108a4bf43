package routing

import (
	"slices"
	"time"

	"hatchwright/service/shop"
)

// Consumers tells for each material which kind of operation needs it first. What
// the catalog does not know, like the seal, is needed when the hatch is fitted.
// A catalyst is needed from the gelcoat on.
func Consumers(d shop.Documents) map[string]string {
	out := map[string]string{}
	put := func(kind string, keys ...string) {
		for _, k := range keys {
			out[k] = kind
		}
	}
	for _, s := range d.Profile.Sheets {
		put("cut_panels", s.Key)
	}
	for _, f := range d.Materials.Fillers {
		put("fill_fillet", f.Key)
	}
	for _, c := range d.Materials.Coatings {
		put(map[string]string{"seal": "seal_coat", "wax": waxKind, "release": "release_coat"}[c.Use], c.Key)
	}
	for _, r := range d.Materials.Reinforcements {
		put("cut_glass", r.Key)
	}
	for _, c := range d.Materials.Cores {
		put("laminate", c.Key)
	}
	for _, r := range d.Materials.Resins {
		put("laminate", r.Key)
	}
	for _, g := range d.Materials.Gelcoats {
		put("gelcoat", g.Key)
	}
	put("gelcoat", d.Materials.Catalyst.Key)
	for _, f := range d.Materials.Hardware {
		put("fit_hardware", f.Key)
	}
	return out
}

// Arrival is a material that is not there yet. Part narrows it to the steps of
// one part; "" is for all.
type Arrival struct {
	Material string
	Part     string
	At       time.Time
}

// Await returns the steps with the earliest start that materials on their way
// allow: a step that needs several waits for the last. Templates wait for the
// sheets that panels are sawn from, they are sawn from them too. Materials whose kind of
// operation is not among the steps hold up the last fitting there is: the
// hardware, else the fit check.
func Await(steps []Step, arrivals []Arrival, consumers map[string]string) []Step {
	out := slices.Clone(steps)
	has := func(kind, part string) bool {
		return slices.ContainsFunc(out, func(s Step) bool { return s.Kind == kind && (part == "" || s.Part == "" || s.Part == part) })
	}
	for _, a := range arrivals {
		kind := consumers[a.Material]
		if kind == "" {
			kind = "fit_hardware"
		}
		if !has(kind, a.Part) {
			kind = "fit_check"
		}
		for i := range out {
			s := &out[i]
			if s.Kind != kind && !(kind == "cut_panels" && s.Kind == "make_template") || (a.Part != "" && s.Part != "" && s.Part != a.Part) {
				continue
			}
			if s.MaterialReady == nil || a.At.After(*s.MaterialReady) {
				at := a.At
				s.MaterialReady = &at
			}
		}
	}
	return out
}
