package api

import (
	"hatchwright/service"
	"hatchwright/service/backlog"
)

// leadTime writes when the hatch is done and why. Instants are in the shop's zone.
func (w *writer) leadTime(l *service.LeadTime) {
	w.object("lead_time")
	zone := l.Start.Location()
	w.instant("start", l.Start)
	w.text("p50", l.P50On.String())
	w.text("p80", l.P80On.String())
	w.text("p95", l.P95On.String())
	w.text("promise", l.Promise.String())
	w.instant("p50_at", l.P50.In(zone))
	w.instant("p80_at", l.P80.In(zone))
	w.instant("p95_at", l.P95.In(zone))
	w.hours("p80_error_hours", l.P80Error.Hours())
	w.hours("working_hours", l.WorkingHours)
	w.texts("critical_path", l.CriticalPath)
	w.object("driver")
	w.text("cause", string(l.Driver.Cause))
	w.text("key", l.Driver.Key)
	w.hours("hours", l.Driver.Time.Hours())
	w.end()
	w.operations(l)
	w.record("molds", rows(backlog.KeptMolds(l.Molds), toMoldInUse))
	w.record("near_molds", rows(l.Near, func(m *backlog.NearMold) wireNearMold {
		near := m.Kept()
		return toNearMold(&near, w.system)
	}))
	w.awaited(l.Waiting)
	w.shorten(l.Shorten)
	w.record("backlog", toBacklogStamp(&l.Backlog))
	w.end()
}

// operations writes the steps; those that build molds which are there are not among
// them.
func (w *writer) operations(l *service.LeadTime) {
	zone := l.Start.Location()
	w.list("operations")
	for i := range l.Steps {
		s := &l.Steps[i]
		w.object("")
		w.text("key", s.Key)
		w.text("kind", s.Kind)
		w.optional("part", s.Part)
		w.integer("piece", s.Piece)
		w.text("work_center", s.WorkCenter)
		w.hours("labor_hours", s.Labor.Hours())
		w.integer("crew", s.Crew)
		w.hours("wait_hours", s.Wait.Hours())
		w.boolean("unbroken", s.Unbroken)
		if s.Follow == 0 {
			w.null("follow_within_hours")
			w.null("followed_late")
		} else {
			w.hours("follow_within_hours", s.Follow.Hours())
			w.ratio("followed_late", l.Criticality[i].Late)
		}
		w.texts("after", s.After)
		w.ratio("criticality", l.Criticality[i].Index)
		w.optional("mold_id", s.Registered)
		if s.MaterialReady == nil {
			w.null("material_ready")
		} else {
			w.instant("material_ready", s.MaterialReady.In(zone))
		}
		w.end()
	}
	w.endList()
}

// awaited writes the material that is short.
func (w *writer) awaited(list []backlog.MaterialWait) {
	w.list("materials_awaited")
	for _, m := range list {
		w.object("")
		w.text("material", m.Material)
		w.optional("part", m.Part)
		w.text("unit", m.Unit)
		w.record("short", amount(m.Short))
		w.day("arrives_on", m.ArrivesOn)
		w.end()
	}
	w.endList()
}

// shorten writes what would bring the date nearer; null when it was not asked for.
func (w *writer) shorten(list []backlog.Shortening) {
	if list == nil {
		w.null("shorten")
		return
	}
	w.list("shorten")
	for _, r := range list {
		w.object("")
		w.text("cause", string(r.Cause))
		w.optional("key", r.Key)
		w.hours("saves_hours", r.Saves.Hours())
		if r.Cause == backlog.CauseMolds {
			w.integer("molds", r.Molds)
			w.money("price_change", r.Price)
		} else {
			w.null("molds")
			w.null("price_change")
		}
		w.end()
	}
	w.endList()
}
