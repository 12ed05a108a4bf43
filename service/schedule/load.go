package schedule

import (
	"fmt"
	"time"

	"hatchwright/service/civil"
)

// DayLoad is the work planned at a center on one local date: Busy of the
// Available post-time. Work of a shift over midnight counts on the date on
// which it is done. Closed says that a closure, not the week, keeps it shut.
type DayLoad struct {
	WorkCenter      string
	Date            civil.Date
	Busy, Available time.Duration
	Closed          bool
}

// Load is the load of each center on every date from the origin to through, both
// included, by center in the order given and by date; a zero through is the last
// date with work at any of them. Errors: *OperationError with ErrUnknownCenter,
// ErrOutOfRange.
func Load(s Schedule, centers []Center, through civil.Date) ([]DayLoad, error) {
	busy := make(map[string]map[civil.Date]time.Duration, len(centers))
	byKey := make(map[string]Center, len(centers))
	for _, c := range centers {
		byKey[c.Key], busy[c.Key] = c, map[civil.Date]time.Duration{}
	}
	for _, p := range s.Placements {
		if p.Post < 0 {
			continue
		}
		c, ok := byKey[p.WorkCenter]
		if !ok {
			return nil, fmt.Errorf("load: %w", &OperationError{Job: p.Job, Operation: p.Operation, Err: ErrUnknownCenter, Detail: fmt.Sprintf("%q", p.WorkCenter)})
		}
		if err := c.Calendar.byDate(p.Start, p.LaborEnd, func(d civil.Date, t time.Duration) { busy[c.Key][d] += t }); err != nil {
			return nil, fmt.Errorf("load: %w", err)
		}
	}
	if through.IsZero() {
		for _, days := range busy {
			for d := range days {
				if through.IsZero() || d.Compare(through) > 0 {
					through = d
				}
			}
		}
	}
	var out []DayLoad
	for _, c := range centers {
		open := map[civil.Date]time.Duration{}
		first, end := civil.DateOf(s.Origin, c.Calendar.loc), through.AddDays(1).At(0, c.Calendar.loc)
		if !end.After(s.Origin) {
			continue
		}
		if err := c.Calendar.byDate(s.Origin, end, func(d civil.Date, t time.Duration) { open[d] += t }); err != nil {
			return nil, fmt.Errorf("load: %w", err)
		}
		for d := first; d.Compare(through) <= 0; d = d.AddDays(1) {
			out = append(out, DayLoad{WorkCenter: c.Key, Date: d, Busy: busy[c.Key][d], Available: open[d] * time.Duration(c.Posts), Closed: c.Calendar.IsClosed(d)})
		}
	}
	return out, nil
}

// byDate cuts the working time in [from, to) at local midnights.
func (c *Calendar) byDate(from, to time.Time, add func(d civil.Date, t time.Duration)) error {
	openings, err := c.Openings(from, to)
	if err != nil {
		return err
	}
	for _, o := range openings {
		for o.Start.Before(o.End) {
			d := civil.DateOf(o.Start, c.loc)
			end := d.AddDays(1).At(0, c.loc)
			if end.After(o.End) {
				end = o.End
			}
			add(d, end.Sub(o.Start))
			o.Start = end
		}
	}
	return nil
}
