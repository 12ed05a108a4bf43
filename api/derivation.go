package api

import "hatchwright/service"

// derivation writes a whole result, with the stock that its bill takes from; nil:
// none. Each section has a file of its own. Bill and operations leave out molds of
// the register that are there.
func (w *writer) derivation(k string, d *service.Derived, stock *service.StockAtHand) {
	r := d.Result
	w.object(k)
	w.ruling(&r.Ruling)
	w.geometry(&r.Geometry, &r.Tolerance)
	w.tooling(r)
	w.laminates(r)
	w.hardware(r.Hardware)
	w.bill(&d.Due.Bill, stock)
	w.leadTime(d.Due)
	w.texts("cautions", r.Cautions)
	w.end()
}
