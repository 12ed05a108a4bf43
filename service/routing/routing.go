package routing

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// Part is what the routing needs to know of one part and its mold.
type Part struct {
	Name         string  // "receiver" or "lid"
	Templates    int     // made for its mold alone, before anything is cut from them
	Panels       int     // pieces of sheet
	Outlines     int     // edges cut from templates
	Layers       int     // sheets glued in blocks
	FilletLength float64 // m
	FaceArea     float64 // m2
	Pieces       int     // of glass
	StageMasses  []float64
	EdgeLength   float64 // m, to trim
}

// Work is a whole order: the parts of one hatch and how many hatches.
type Work struct {
	Parts        []Part
	Templates    int // that the molds of several parts are cut from
	Quantity     int
	Molds        int     // of each part, pulled in turn; 0 is one
	FittingHours float64 // listed for the hardware of one hatch
	CureHours    float64 // before demolding, at the shop's temperature
	SealCoats    int     // on a new mold
	WaxCoats     int     // on a new mold; later pulls get one
	ReleaseCoats int     // on every pull
}

// Step is an operation with what it was worked out from.
type Step struct {
	schedule.Operation
	Part   string  // "" for the hatch as a whole, and for templates that molds share
	Piece  int     // 1-based; 0 for the mold
	Task   string  // what is done, the same for every piece: the key without the piece's number
	Stage  int     // of a laminate, 1-based; 0 for other kinds
	Driver float64 // how many units of the rate's driver
	Hours  float64 // labor hours of one person at the post
	Mold   bool    // belongs to building the mold
	// Registered is the id of the mold of the register that the part occupies, ""
	// for one built within this work. See Reuse.
	Registered string
}

// Build lays out the graph. It returns an error when the shop has no rate for an
// operation that is needed.
func Build(w Work, p *shop.Profile) ([]Step, error) {
	b := builder{profile: p, work: w}
	// Room for about all of them: steps are large, and growing copies them.
	room := 1
	for _, p := range w.Parts {
		room += 6 + w.SealCoats + w.Quantity*(5+w.WaxCoats+w.ReleaseCoats+len(p.StageMasses))
	}
	b.steps = make([]Step, 0, room+4*w.Quantity)
	shared := ""
	if w.Templates > 0 {
		shared = b.add("", 0, "make_template", "mold templates", float64(w.Templates), 0)
	}
	// By part, by mold: the operation that it is free for the next pull after.
	free := make([][]string, len(w.Parts))
	for i, part := range w.Parts {
		for m := range b.molds() {
			free[i] = append(free[i], b.mold(part, m, shared))
		}
	}
	for n := 1; n <= w.Quantity; n++ {
		var trimmed []string
		for i, part := range w.Parts {
			m := (n - 1) % b.molds()
			trim, freed := b.pull(part, n, free[i][m], w.CureHours)
			trimmed, free[i][m] = append(trimmed, trim), freed
		}
		fit := b.add("", n, "fit_check", "fit check", 0, 0, trimmed...)
		if w.FittingHours > 0 {
			fit = b.add("", n, "fit_hardware", "hardware", w.FittingHours, 0, fit)
		}
		inspect := b.add("", n, "inspect", "inspection", 1, 0, fit)
		b.add("", n, "pack", "packing", 1, 0, inspect)
	}
	return b.steps, b.err
}

type builder struct {
	profile *shop.Profile
	work    Work
	steps   []Step
	err     error
}

// molds is how many there are of each part: no more than pulls.
func (b *builder) molds() int { return max(1, min(b.work.Molds, b.work.Quantity)) }

// moldName names a part's mold, the first being 0.
func moldName(part string, m int) string {
	if m == 0 {
		return part + " mold"
	}
	return fmt.Sprintf("%s mold %d", part, m+1)
}

// add appends an operation of the given kind and returns its key: the task, with
// whose it is and the piece's number before it where there are pieces.
func (b *builder) add(part string, piece int, kind, task string, driver, wait float64, after ...string) string {
	key := task
	if piece > 0 {
		whose := part
		if whose == "" {
			whose = "hatch"
		}
		key, task = fmt.Sprintf("%s %d %s", whose, piece, task), whose+" "+task
	}
	rate, ok := b.profile.Rates[kind]
	if !ok && b.err == nil {
		b.err = fmt.Errorf("routing: the shop's profile has no rate %q: add it under rates", kind)
	}
	hours := rate.Setup + rate.Each*driver
	labor, err := schedule.Hours(hours)
	if err != nil && b.err == nil {
		b.err = fmt.Errorf("routing: %s: %w", key, err)
	}
	waiting, err := schedule.Hours(wait)
	if err != nil && b.err == nil {
		b.err = fmt.Errorf("routing: %s: %w", key, err)
	}
	s := Step{Part: part, Piece: piece, Task: task, Driver: driver, Hours: hours, Mold: piece == 0}
	s.Operation = schedule.Operation{Key: key, Kind: kind, WorkCenter: rate.Center, Labor: labor.Round(time.Second), Crew: rate.Crew, Wait: waiting.Round(time.Second), Unbroken: rate.Unbroken}
	if s.Follow, err = schedule.Hours(rate.FollowWithin); err != nil && b.err == nil {
		b.err = fmt.Errorf("routing: %s: %w", key, err)
	}
	for _, a := range after {
		if a != "" {
			s.After = append(s.After, a)
		}
	}
	if piece > 0 && part != "" {
		s.Operation.Mold = moldName(part, (piece-1)%b.molds())
	}
	b.steps = append(b.steps, s)
	return key
}

// mold adds what it takes to build one of a part's molds, ready to wax. Its own
// templates are cut from those that it shares, and serve the others too.
func (b *builder) mold(p Part, m int, shared string) string {
	name := moldName(p.Name, m) + " "
	waits := b.profile.Waits
	template := shared
	if p.Templates > 0 {
		if template = moldName(p.Name, 0) + " templates"; m == 0 {
			b.add(p.Name, 0, "make_template", template, float64(p.Templates), 0, shared)
		}
	}
	cut := b.add(p.Name, 0, "cut_panels", name+"panels", float64(p.Panels), 0)
	outlines := b.add(p.Name, 0, "cut_outline", name+"outlines", float64(p.Outlines), 0, cut, template)
	glue := b.add(p.Name, 0, "glue_block", name+"blocks", float64(p.Layers), waits["glue"], outlines)
	at := glue
	if p.FilletLength > 0 {
		at = b.add(p.Name, 0, "fill_fillet", name+"fillets", p.FilletLength, waits["filler"], at)
	}
	at = b.add(p.Name, 0, "fair", name+"fairing", p.FaceArea, 0, at)
	for i := 1; i <= b.work.SealCoats; i++ {
		at = b.add(p.Name, 0, "seal_coat", fmt.Sprintf("%ssealer coat %d", name, i), p.FaceArea, waits["seal_coat"], at)
	}
	return at
}

// pull adds one part out of a mold that is free after an operation: wax (all coats on
// the mold's first pull, one on later ones), release film, gelcoat, stages, cure,
// demolding, trimming. It returns the last operation, and the one that frees the mold.
func (b *builder) pull(p Part, n int, free string, cure float64) (trimmed, freed string) {
	waits := b.profile.Waits
	coats, firstPull := 1, n <= b.molds()
	if firstPull {
		coats = b.work.WaxCoats
	}
	at := free
	first := len(b.steps)
	for i := 1; i <= coats; i++ {
		at = b.add(p.Name, n, waxKind, fmt.Sprintf("wax coat %d", i), p.FaceArea, waits["wax_coat"], at)
	}
	for i := 1; i <= b.work.ReleaseCoats; i++ {
		at = b.add(p.Name, n, "release_coat", fmt.Sprintf("release film %d", i), p.FaceArea, waits["release_coat"], at)
	}
	glass := b.add(p.Name, n, "cut_glass", "glass cutting", float64(p.Pieces), 0)
	b.steps[len(b.steps)-1].Operation.Mold = "" // cut on the table, not in the mold
	at = b.add(p.Name, n, "gelcoat", "gelcoat", p.FaceArea, waits["gelcoat"], at)
	for i, mass := range p.StageMasses {
		wait := waits["stage"]
		if i == len(p.StageMasses)-1 {
			wait = cure
		}
		after := []string{at}
		if i == 0 {
			after = append(after, glass)
		}
		at = b.add(p.Name, n, "laminate", fmt.Sprintf("stage %d", i+1), mass, wait, after...)
		b.steps[len(b.steps)-1].Stage = i + 1
	}
	freed = b.add(p.Name, n, "demold", "demolding", 1, 0, at)
	if firstPull {
		risk(b.steps[first:], b.profile.FirstPullRisk())
	}
	trimmed = b.add(p.Name, n, "trim", "trimming", p.EdgeLength, 0, freed)
	b.steps[len(b.steps)-1].Operation.Mold = ""
	return trimmed, freed
}

// Job returns the operations as a job for the schedule. A mold that is built
// within the work is the job's own; one of the register is shared with every job
// that names it.
func Job(key string, steps []Step) schedule.Job {
	j := schedule.Job{Key: key, Operations: make([]schedule.Operation, 0, len(steps))}
	for _, s := range steps {
		o := s.Operation
		switch {
		case o.Mold == "":
		case s.Registered != "":
			o.Mold = MoldKey(s.Registered)
		default:
			o.Mold = key + " " + o.Mold
		}
		j.Operations = append(j.Operations, o)
	}
	return j
}

const registered = "mold "

// MoldKey names a mold of the register in a schedule.
func MoldKey(id string) string { return registered + id }

// RegisteredMold is the id of the mold that MoldKey made the key of; ok is false for a
// mold of a job's own.
func RegisteredMold(key string) (id string, ok bool) { return strings.CutPrefix(key, registered) }

// Centers returns the shop's work centers on its calendar.
func Centers(p *shop.Profile) ([]schedule.Center, *schedule.Calendar, error) {
	c, err := Calendar(p)
	if err != nil {
		return nil, nil, err
	}
	var out []schedule.Center
	for _, k := range p.Centers {
		out = append(out, schedule.Center{Key: k.Key, Posts: k.Posts, Calendar: c})
	}
	return out, c, nil
}

var weekdays = map[string]time.Weekday{"sun": time.Sunday, "mon": time.Monday, "tue": time.Tuesday, "wed": time.Wednesday, "thu": time.Thursday, "fri": time.Friday, "sat": time.Saturday}

// Calendar builds the shop's calendar from its profile. The error is shop.Faults: every
// shift and every closure that does not go with the others.
func Calendar(p *shop.Profile) (*schedule.Calendar, error) {
	var faults shop.Faults
	told := func(pointer, format string, args ...any) {
		faults = append(faults, shop.OfProfile(pointer, "calendar", format, args...))
	}
	loc, err := time.LoadLocation(p.TimeZone)
	if err != nil {
		told("/time_zone", "%v.", err)
		return nil, faults
	}
	var shifts []schedule.Shift
	var rows []int // of each shift, the profile's row
	for i, s := range p.Calendar.Shifts {
		at := fmt.Sprintf("/calendar/shifts/%d", i)
		start, startErr := clock(s.Start)
		end, endErr := clock(s.End)
		if startErr != nil {
			told(at+"/start", "%v.", startErr)
		}
		if endErr != nil {
			told(at+"/end", "%v.", endErr)
		}
		if startErr != nil || endErr != nil {
			continue
		}
		if end <= start {
			end += 24 * time.Hour
		}
		for k, d := range s.Days {
			w, ok := weekdays[d]
			if !ok {
				told(fmt.Sprintf("%s/days/%d", at, k), "%q is no day: write mon, tue, wed, thu, fri, sat or sun.", d)
				continue
			}
			shifts, rows = append(shifts, schedule.Shift{Weekday: w, Start: start, End: end}), append(rows, i)
		}
	}
	var closures []schedule.Closure
	var closed []int // of each closure, the profile's row
	for i, c := range p.Calendar.Closures {
		from, fromErr := civil.ParseDate(c.From)
		to, toErr := civil.ParseDate(c.To)
		if fromErr != nil {
			told(fmt.Sprintf("/calendar/closures/%d/from", i), "%v.", fromErr)
		}
		if toErr != nil {
			told(fmt.Sprintf("/calendar/closures/%d/to", i), "%v.", toErr)
		}
		if fromErr == nil && toErr == nil {
			closures, closed = append(closures, schedule.Closure{From: from, To: to, Reason: c.Reason}), append(closed, i)
		}
	}
	for {
		c, err := schedule.NewCalendar(loc, shifts, closures)
		var shift *schedule.ShiftError
		var closure *schedule.ClosureError
		switch {
		case errors.As(err, &shift):
			// Told once of each row of the profile; the others are looked at without it.
			at, row := fmt.Sprintf("/calendar/shifts/%d", rows[shift.Index]), rows[shift.Index]
			if shift.Other >= 0 {
				a, b := p.Calendar.Shifts[row], p.Calendar.Shifts[rows[shift.Other]]
				told(at, "%s: on %s %s to %s runs into %s to %s of calendar/shifts/%d; a shift that ends at or before its start goes on through the night.",
					sentence(shift.Err), shifts[shift.Index].Weekday, a.Start, a.End, b.Start, b.End, rows[shift.Other])
			} else {
				told(at, "%s: %s.", sentence(shift.Err), shift.Detail)
			}
			for k := len(rows) - 1; k >= 0; k-- {
				if rows[k] == row {
					shifts, rows = slices.Delete(shifts, k, k+1), slices.Delete(rows, k, k+1)
				}
			}
			if len(shifts) == 0 {
				return nil, faults
			}
		case errors.As(err, &closure):
			k := closure.Index
			told(fmt.Sprintf("/calendar/closures/%d", closed[k]), "%s: %s.", sentence(closure.Err), closure.Detail)
			closures, closed = slices.Delete(closures, k, k+1), slices.Delete(closed, k, k+1)
		case errors.Is(err, schedule.ErrNoHours):
			if len(faults) == 0 {
				told("/calendar/shifts", "%s: give at least one shift a day of the week.", sentence(schedule.ErrNoHours))
			}
			return nil, faults
		case err != nil:
			told("/calendar", "%v.", err)
			return nil, faults
		default:
			if from, to, days := c.LongestClosed(); days > schedule.MaxClosureDays {
				last := slices.IndexFunc(closures, func(k schedule.Closure) bool { return k.To == to })
				told(fmt.Sprintf("/calendar/closures/%d", closed[last]), "%s: with those before it there is no working day from %v to %v, %d days, over %d.", sentence(schedule.ErrClosureEndless), from, to, days, schedule.MaxClosureDays)
			}
			return c, faults.Err()
		}
	}
}

// clock reads "07:30".
func clock(s string) (time.Duration, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return 0, fmt.Errorf("%q: write hours as \"07:30\"", s)
	}
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute, nil
}

// sentence is what an error says, with a capital.
func sentence(err error) string { return strings.ToUpper(err.Error()[:1]) + err.Error()[1:] }

// Kinds are the kinds of operations that Build lays out: the profile has a rate for each.
var Kinds = []string{"make_template", "cut_panels", "cut_outline", "glue_block", "fill_fillet", "fair", "seal_coat", waxKind, "release_coat", "gelcoat",
	"cut_glass", "laminate", "demold", "trim", "fit_check", "fit_hardware", "inspect", "pack"}

// Lacking are the kinds of operations that the profile has no rate for.
func Lacking(p *shop.Profile) (faults shop.Faults) {
	for _, kind := range Kinds {
		if _, ok := p.Rates[kind]; !ok {
			faults = append(faults, shop.OfProfile(shop.Below("/rates", kind), "missing", "There is no rate for the operation %q, which hatches need. Add it.", kind))
		}
	}
	return faults
}
