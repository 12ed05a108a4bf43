package api

import (
	"hatchwright/service"
	"hatchwright/service/derivation"
)

// derivation writes a whole result, with the stock that its bill takes from; nil:
// none. Each section has a file of its own.
func (w *writer) derivation(k string, r *derivation.Result, stock *service.StockAtHand) {
	w.object(k)
	w.ruling(&r.Ruling)
	w.geometry(&r.Geometry, &r.Tolerance)
	w.tooling(r)
	w.laminates(r)
	w.hardware(r.Hardware)
	w.bill(&r.Bill, stock)
	w.leadTime(&r.LeadTime)
	w.texts("cautions", r.Cautions)
	w.end()
}
