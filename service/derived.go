package service

import (
	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/derivation"
)

// Derived is a configuration worked out and placed behind the shop's open work.
type Derived struct {
	*derivation.Result
	Due *backlog.LeadTime
}

// promiseSource is what a promise rests on, as a finding says it.
const promiseSource = "the day by which the work is done in 80 % of the sampled futures of the shop, behind its open work"

// derived puts a result and its lead time together: what the result says of the date
// that is wanted is from then on by the promise.
func derived(r *derivation.Result, due *backlog.LeadTime) *Derived {
	r.Promise(civil.DateOf(due.Start, due.Start.Location()), due.Promise, promiseSource)
	return &Derived{Result: r, Due: due}
}
