package routing

import "time"

// risk puts what a stuck part costs on the demolding of a mold's first pull: with
// the given probability the part comes out in pieces, and wax, film, gelcoat and
// stages are done again.
//
//	extra labor = labor of the pull's own steps up to the demolding
//	extra wait  = their waiting by the clock
//
// The extra labor is planned where the demolding is, at one post: the schedule
// knows no work that goes back (an approximation, on the side of the first pull's
// own part). Only scenarios draw it; a plan by estimates leaves it out.
//
// Source of the probability: see shop.StandardFirstPull.
func risk(pull []Step, probability float64) {
	if probability <= 0 || len(pull) == 0 {
		return
	}
	var labor, wait time.Duration
	for i := range pull {
		labor, wait = labor+pull[i].Labor, wait+pull[i].Wait
	}
	last := &pull[len(pull)-1]
	last.Risk, last.RiskLabor, last.RiskWait = probability, labor, wait
}
