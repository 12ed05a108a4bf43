package api

import (
	"hatchwright/service/derivation"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// ruling writes what check, derive and the problem of a configuration that cannot
// be made have in common.
func (w *writer) ruling(r *derivation.Ruling) {
	w.configuration("configuration", &r.Configuration)
	w.text("digest", r.Digest)
	w.object("revision")
	w.text("engine", r.Revision.Engine)
	w.text("catalog", r.Revision.Catalog)
	w.text("price_book", r.Revision.PriceBook)
	w.end()
	w.text("verdict", string(r.Verdict))
	w.list("findings")
	for i := range r.Findings {
		w.finding(&r.Findings[i])
	}
	w.endList()
}

func (w *writer) finding(f *finding.Finding) { w.findingAt("", f) }

func (w *writer) findingAt(k string, f *finding.Finding) {
	w.object(k)
	w.text("code", f.Code)
	w.text("severity", f.Severity.String())
	w.text("pointer", f.Pointer)
	w.text("message", f.Message(w.system))
	w.value("measured", f.Measured)
	w.value("limit", f.Limit)
	w.text("unit", string(f.Measured.Unit.In(w.system)))
	w.list("mend")
	for _, m := range f.Mends {
		w.object("")
		w.text("pointer", m.Pointer)
		if m.Word != "" {
			w.text("value", m.Word)
		} else {
			w.given("value", m.Value.Magnitude, mendUnit(m))
		}
		w.end()
	}
	w.endList()
	w.text("source", f.Source)
	w.end()
}

// mendUnit is the unit of the figure that a mend sets. A mend was rounded towards
// the safe side where it was solved, and goes out as it is.
func mendUnit(m finding.Mend) quantity.Unit {
	if p := part.At(m.Pointer); p != nil {
		return p.Unit
	}
	return m.Value.Unit
}
