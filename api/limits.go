package api

import (
	"net/http"

	"hatchwright/service/derivation"
	"hatchwright/service/quantity"
)

// findLimits says how far each figure of a configuration can go.
func (a *api) findLimits(c *call) error {
	r, err := c.configuration("")
	if err != nil {
		return err
	}
	l, err := a.service.FindLimits(c.Request().Context(), c.caller, r)
	if err != nil {
		return err
	}
	a.ruled(l.Verdict)
	w := newWriter(l.Configuration.Units)
	defer w.free()
	w.object("")
	w.ruling(&derivation.Ruling{Configuration: l.Configuration, Digest: l.Digest, Revision: l.Revision, Verdict: l.Verdict, Findings: l.Findings})
	w.list("numbers")
	for i := range l.Numbers {
		w.interval(&l.Numbers[i])
	}
	w.endList()
	w.list("choices")
	for i := range l.Choices {
		w.choice(&l.Choices[i])
	}
	w.endList()
	w.end()
	return c.send(http.StatusOK, w)
}

// interval writes how far one number can go. Its ends stand on the wire's step
// already, within what is feasible, so nothing is rounded here.
func (w *writer) interval(n *derivation.Interval) {
	w.object("")
	w.text("pointer", n.Pointer)
	w.text("unit", string(n.Value.Unit.In(w.system)))
	w.boolean("whole", n.Whole)
	if n.Null {
		w.null("value")
	} else {
		w.given("value", n.Value.Magnitude, n.Value.Unit)
	}
	w.boolean("contains", n.Contains)
	w.boolean("feasible", n.Feasible)
	w.bound("min", n.Feasible, n.Min, &n.MinBound)
	w.bound("max", n.Feasible, n.Max, &n.MaxBound)
	w.boolean("more", n.More)
	w.end()
}

// bound writes an end of an interval and what binds it.
func (w *writer) bound(k string, feasible bool, end quantity.Value, b *derivation.Bound) {
	if feasible {
		w.given(k, end.Magnitude, end.Unit)
	} else {
		w.null(k)
	}
	w.object(k + "_bound")
	w.boolean("range", b.Range)
	if b.Range {
		w.null("finding")
	} else {
		w.findingAt("finding", &b.Finding)
	}
	w.end()
}

func (w *writer) choice(c *derivation.Choice) {
	w.object("")
	w.text("pointer", c.Pointer)
	w.text("value", c.Value)
	w.texts("allowed", c.Allowed)
	w.list("refused")
	for i := range c.Refused {
		w.object("")
		w.text("word", c.Refused[i].Word)
		w.findingAt("finding", &c.Refused[i].Finding)
		w.end()
	}
	w.endList()
	w.end()
}
