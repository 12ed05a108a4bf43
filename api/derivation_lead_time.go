package api

import "hatchwright/service/derivation"

// leadTime writes the plan. Its times are in the shop's zone, which the start
// carries.
func (w *writer) leadTime(l *derivation.LeadTime) {
	zone := l.Start.Location()
	w.object("lead_time")
	w.instant("start", l.Start)
	w.instant("finish", l.Finish.In(zone))
	w.text("finish_date", l.FinishDay.String())
	w.hours("working_hours", l.WorkingHours)
	w.texts("critical_path", l.Critical.Path)
	w.object("driver")
	w.text("cause", string(l.Critical.Driver.Cause))
	w.text("key", l.Critical.Driver.Key)
	w.hours("hours", l.Critical.Driver.Time.Hours())
	w.end()
	w.list("operations")
	for i := range l.Steps {
		s, p := &l.Steps[i], &l.Placements[i]
		w.object("")
		w.text("key", s.Key)
		w.text("kind", s.Kind)
		if s.Part == "" {
			w.null("part")
		} else {
			w.text("part", s.Part)
		}
		w.integer("piece", s.Piece)
		w.text("work_center", s.WorkCenter)
		w.hours("labor_hours", s.Labor.Hours())
		w.integer("crew", s.Crew)
		w.hours("wait_hours", s.Wait.Hours())
		w.texts("after", s.After)
		w.instant("start", p.Start.In(zone))
		w.instant("labor_end", p.LaborEnd.In(zone))
		w.instant("end", p.End.In(zone))
		w.end()
	}
	w.endList()
	w.end()
}
