package api

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"hatchwright/openapi/client"
)

// other is the detailed hatch with other figures; from each of pairs the first is
// put in the place of the second.
func other(pairs ...string) string { return strings.NewReplacer(pairs...).Replace(detailed) }

// keepAs keeps a configuration for a key and returns its id.
func (b *bench) keepAs(key, configuration string) string {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/configurations", key, `{"configuration":`+configuration+`}`)
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	return memberText(b.t, a.body, "id")
}

// derived derives with the shop's key or another's.
func (b *bench) derived(key, query, configuration string) client.Derivation {
	b.t.Helper()
	a := b.send(http.MethodPost, "/v1/derive"+query, key, configuration)
	if a.status != http.StatusOK {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	var d client.Derivation
	strict(b.t, a.body, &d)
	if key == b.shop { // others are not told what the pointers lead to
		resolveAll(b.t, a.body, &d)
	}
	return d
}

// busy gives the shop open work, the lid's mold of the detailed hatch, the receiver's
// of one that is 3 mm longer and half a millimeter deeper, and a little resin of what it takes.
func (b *bench) busy() {
	b.t.Helper()
	_, dealer := b.dealer("Brackwater Marine", "dealer")
	for range 2 {
		b.order(dealer)
	}
	b.mold(b.keepAs(b.shop, detailed), "lid", `,"tag":"H24-L1"`)
	b.mold(b.keepAs(b.shop, other(`"length": 520`, `"length": 523`, `"recess_depth": 19`, `"recess_depth": 19.5`)), "receiver", `,"tag":"H24-R2"`)
	a := b.send(http.MethodPost, "/v1/stock/moves", b.shop, fmt.Sprintf(`{"kind":"receive","amount":0.5,"lot":{"material":%q}}`, "general-purpose vinylester"))
	if a.status != http.StatusCreated {
		b.t.Fatalf("%d %s", a.status, a.body)
	}
	b.refresh()
}

// TestLeadTime: what a derivation says of its date in an idle shop and in one that is
// busy.
func TestLeadTime(t *testing.T) {
	b := newBench(t)
	idle := b.derived(b.shop, "", detailed).LeadTime
	if !idle.Backlog.Stale || idle.Backlog.Version != nil || idle.Backlog.Orders != 0 || idle.Backlog.Scenarios != 256 || idle.Shorten != nil {
		t.Errorf("before the worker has been: %+v, shorten %v", idle.Backlog, idle.Shorten)
	}
	if len(idle.Molds) != 0 || len(idle.NearMolds) != 0 || len(idle.MaterialsAwaited) != 0 {
		t.Errorf("an idle shop has molds %v, near ones %v, waits for %v", idle.Molds, idle.NearMolds, idle.MaterialsAwaited)
	}
	b.busy()
	d := b.derived(b.shop, "?shorten=true", detailed)
	l := d.LeadTime
	if s := l.Backlog; s.Stale || s.Version == nil || s.Orders != 2 || s.Operations == 0 {
		t.Errorf("stamp %+v", s)
	}
	if len(l.Shorten) == 0 {
		t.Error("nothing shortens it")
	}
	if len(l.Molds) != 1 || l.Molds[0].Part != "lid" || *l.Molds[0].Tag != "H24-L1" {
		t.Errorf("molds %+v", l.Molds)
	}
}

// TestQuoteLeadTime: a quote freezes what its promise rests on, the molds it uses and
// those that would nearly do; a dealer sees no mold that is another's.
func TestQuoteLeadTime(t *testing.T) {
	b := newBench(t)
	b.busy()
	owner, own := b.dealer("Fennimore Yachts", "dealer")
	_, another := b.dealer("Tidewrack Marine", "dealer")
	near := b.mold(b.keepAs(own, other(`"length": 520`, `"length": 522`)), "receiver", `,"tag":"FY-1","dealer_id":"`+owner+`"`)
	quote := func(key, lines string) client.Quote {
		t.Helper()
		a := b.send(http.MethodPost, "/v1/quotes", key, `{"lines":[`+lines+`]}`)
		if a.status != http.StatusCreated {
			t.Fatalf("%d %s", a.status, a.body)
		}
		var q client.Quote
		strict(t, a.body, &q)
		again := b.send(http.MethodGet, "/v1/quotes/"+q.Id.String(), key, "")
		if string(again.body) != string(a.body) {
			t.Errorf("read again: %s\nmade: %s", again.body, a.body)
		}
		return q
	}
	line := `{"configuration":` + detailed + `}`
	q := quote(own, line)
	l := q.Lines[0]
	if l.LeadTime == nil || l.LeadTime.P80 != q.Promise || l.LeadTime.P50.After(l.LeadTime.P80.Time) || l.LeadTime.P80.After(l.LeadTime.P95.Time) ||
		l.LeadTime.Backlog != nil {
		t.Errorf("lead time %+v of a quote for %v", l.LeadTime, q.Promise)
	}
	var whole client.Quote // as the shop reads it
	strict(t, b.send(http.MethodGet, "/v1/quotes/"+q.Id.String(), b.shop, "").body, &whole)
	if s := whole.Lines[0].LeadTime.Backlog; s == nil || s.Orders != 2 || s.Scenarios != 256 {
		t.Errorf("stamp %+v", s)
	}
	if m := whole.Lines[0].Molds; len(m) != 1 || *m[0].Tag != "H24-L1" {
		t.Errorf("molds %+v", m)
	}
	if d := b.derived(own, "", detailed).LeadTime; d.Promise != l.Promise || len(d.NearMolds) != len(l.NearMolds) {
		t.Errorf("derived: %v with %d near molds; quoted: %v with %d", d.Promise, len(d.NearMolds), l.Promise, len(l.NearMolds))
	}
	if len(l.NearMolds) != 2 || l.NearMolds[0].Molds[0].Id != near.Id || l.NearMolds[0].Off != 2 || len(l.NearMolds[0].Differences) == 0 ||
		l.NearMolds[0].PriceSaved.Amount == "0.00" || *l.NearMolds[1].Molds[0].Tag != "H24-R2" {
		t.Errorf("near molds %+v", l.NearMolds)
	}
	if o := quote(another, line).Lines[0]; len(o.NearMolds) != 1 || *o.NearMolds[0].Molds[0].Tag != "H24-R2" {
		t.Errorf("another dealer is offered %+v", o.NearMolds)
	}
	if two := quote(own, line+","+line); two.Lines[0].Promise != two.Promise || two.Lines[1].LeadTime.P80 != two.Promise || !two.Promise.After(q.Promise.Time) {
		t.Errorf("two lines: %v, %v and %v; one: %v", two.Promise, two.Lines[0].Promise, two.Lines[1].LeadTime.P80, q.Promise)
	}
}
