package service

import (
	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/record"
)

// piecesAsked is how many hatches a request asks for.
func piecesAsked(e *derivation.Engine, r part.Request) int {
	if r.Has(quantityAt) {
		return int(r.Configuration.Quantity)
	}
	return usualPieces(e)
}

func usualPieces(e *derivation.Engine) int {
	n, _ := e.Documents().Profile.Defaults[quantityAt].(float64)
	return max(1, int(n))
}

const scheduleAt = "/laminate/schedule"

// lineRequests are the pieces of a quote's lines, for the turn that working them out
// again takes.
func lineRequests(q record.Quote) []part.Request {
	out := make([]part.Request, len(q.Lines))
	for i, l := range q.Lines {
		out[i].Given = map[string]bool{quantityAt: true, scheduleAt: true}
		out[i].Configuration.Quantity = float64(l.Quantity)
	}
	return out
}

// Where a configuration says how its schedule comes about, and how many there are.
const (
	quantityAt = "/quantity"
)
