package schedule_test

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"hatchwright/service/schedule"
)

var studyYears = flag.Int("study-years", 5, "simulated years of the coverage study")

// truth is what the invented shop's work really takes; its planner does not
// know. The planner begins with factor 1 and sigma 0.3 for every kind.
var truth = map[string]schedule.Spread{
	"review": {Factor: 1.3, Sigma: 0.40}, "route": {Factor: 0.9, Sigma: 0.15}, "build": {Factor: 1.25, Sigma: 0.30},
	"fair": {Factor: 1.1, Sigma: 0.35}, "gelcoat": {Factor: 1.0, Sigma: 0.20}, "laminate": {Factor: 1.15, Sigma: 0.25},
	"demold": {Factor: 1.0, Sigma: 0.50}, "trim": {Factor: 0.95, Sigma: 0.25}, "fit": {Factor: 1.2, Sigma: 0.40},
	"hardware": {Factor: 1.0, Sigma: 0.30}, "pack": {Factor: 1.0, Sigma: 0.20},
}

// year simulates a year of orders coming at random, four a week, in a shop of
// one post a center (two at the mold bench and lamination). Every order is
// given percentiles on arrival, behind what is open and with what has been
// learned so far; orders of the first four weeks teach and are not counted.
//
// The shop works by the rule it plans by: serial generation in the order of
// arrival, on the true durations. So the study tests the percentiles, the
// remaining times and the learning, not whether a shop keeps to its rule.
func year(t *testing.T, seed uint64) schedule.Coverage {
	centers := benchShop(t)
	for i := range centers {
		centers[i].Posts = 1
		if k := centers[i].Key; k == "mold bench" || k == "lamination" {
			centers[i].Posts = 2
		}
	}
	rng := rand.New(rand.NewPCG(seed, 1))
	var planned, actual []schedule.Job
	at := origin
	for {
		at = at.Add(time.Duration(rng.ExpFloat64() / 4 * float64(7*24*hour))).Round(time.Second)
		if at.After(origin.AddDate(1, 0, 0)) {
			break
		}
		j := hatchJob(rng, fmt.Sprintf("H%04d", len(planned)))
		j.Accepted, j.Release = at, at
		planned = append(planned, j)
		a := j
		a.Operations = append([]schedule.Operation(nil), j.Operations...)
		for i := range a.Operations {
			k := truth[a.Operations[i].Kind]
			a.Operations[i].Labor = time.Duration(float64(a.Operations[i].Labor) * k.Factor * math.Exp(k.Sigma*rng.NormFloat64())).Round(time.Second)
		}
		actual = append(actual, a)
	}
	// Later orders never move earlier ones, so the whole year is worked at once.
	world, err := schedule.Serial(actual, centers, origin, nil)
	if err != nil {
		t.Fatal(err)
	}
	size := len(planned[0].Operations)
	placed := func(k, i int) schedule.Placement { return world.Placements[k*size+i] }

	learned := map[string]schedule.Calibration{}
	for kind := range truth {
		if learned[kind], err = schedule.NewCalibration(schedule.Spread{Factor: 1, Sigma: 0.3}, 4); err != nil {
			t.Fatal(err)
		}
	}
	known := map[[2]int]bool{}
	var c schedule.Coverage
	for n := range planned {
		now := planned[n].Accepted
		model := schedule.Model{Kinds: map[string]schedule.Spread{}, Default: schedule.Spread{Factor: 1, Sigma: 0.3}}
		for k := range n {
			for i := range size {
				if p := placed(k, i); !p.LaborEnd.After(now) && !known[[2]int{k, i}] {
					known[[2]int{k, i}] = true
					kind := planned[k].Operations[i].Kind
					if learned[kind], err = learned[kind].Observe(planned[k].Operations[i].Labor, actual[k].Operations[i].Labor); err != nil {
						t.Fatal(err)
					}
				}
			}
		}
		for kind, l := range learned {
			model.Kinds[kind] = l.Spread(0)
		}
		if now.Before(origin.AddDate(0, 0, 28)) {
			continue
		}
		var open []schedule.Job
		for k := range n {
			if j, ok := unfinished(t, planned[k], func(i int) schedule.Placement { return placed(k, i) }, now, centers, model); ok {
				open = append(open, j)
			}
		}
		p, err := schedule.NewProfiles(schedule.Setup{Jobs: open, Centers: centers, Origin: now, Model: model, Seed: [32]byte{byte(n), byte(n >> 8), byte(seed)}})
		if err != nil {
			t.Fatal(err)
		}
		l, err := p.Place(planned[n], now, [32]byte{byte(n), byte(n >> 8), 1})
		if err != nil {
			t.Fatal(err)
		}
		c = c.Observe(l.Percentiles, world.Jobs[n].End)
	}
	return c
}

// study simulates the years asked for, once for all tests.
func study(t *testing.T) []schedule.Coverage {
	for len(studied) < *studyYears {
		studied = append(studied, year(t, uint64(len(studied)+1)))
	}
	return studied
}

var studied []schedule.Coverage

// unfinished is what the planner sees of an order now: operations done are
// gone, those at work have what is left by the model, cures what is left by
// the clock.
func unfinished(t *testing.T, j schedule.Job, placed func(i int) schedule.Placement, now time.Time, centers []schedule.Center, m schedule.Model) (schedule.Job, bool) {
	open := schedule.Job{Key: j.Key, Accepted: j.Accepted}
	done := map[string]bool{}
	inMold := map[string]bool{}
	for i := range j.Operations {
		if !placed(i).End.After(now) {
			done[j.Operations[i].Key] = true
			inMold[j.Operations[i].Mold] = true
		}
	}
	for i, o := range j.Operations {
		if done[o.Key] {
			continue
		}
		var after []string
		for _, k := range o.After {
			if !done[k] {
				after = append(after, k)
			}
		}
		o.After = after
		p := placed(i)
		switch {
		case !p.LaborEnd.After(now):
			o.WorkCenter, o.Labor, o.Wait, o.Started = "", 0, p.End.Sub(now), true
		case p.Start.Before(now):
			worked := centerOf(centers, o.WorkCenter).Calendar.WorkBetween(p.Start, now)
			o.Labor, o.Started = m.Kinds[o.Kind].Remaining(o.Labor, worked), true
		}
		if o.Mold != "" && inMold[o.Mold] && !o.Started {
			open.Holds = append(open.Holds, o.Mold)
			inMold[o.Mold] = false
		}
		open.Operations = append(open.Operations, o)
	}
	return open, len(open.Operations) > 0
}

// The share of orders finished by p50, p80 and p95 over simulated years. The
// goal is 3 points of nominal; a short run is allowed three binomial standard
// errors besides, a long one (-study-years 20) shows the figure.
func TestCoverageStudy(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated year takes seconds")
	}
	var sum schedule.Coverage
	for y, c := range study(t) {
		a, b, d, _ := c.Shares()
		t.Logf("year %2d: %3d orders, by p50 %.3f, by p80 %.3f, by p95 %.3f", y+1, c.Finished, a, b, d)
		sum.Finished, sum.ByP50, sum.ByP80, sum.ByP95 = sum.Finished+c.Finished, sum.ByP50+c.ByP50, sum.ByP80+c.ByP80, sum.ByP95+c.ByP95
	}
	a, b, d, ok := sum.Shares()
	if !ok {
		t.Fatal("no order finished")
	}
	t.Logf("%d orders: by p50 %.3f, by p80 %.3f, by p95 %.3f", sum.Finished, a, b, d)
	for _, k := range []struct{ got, p float64 }{{a, 0.5}, {b, 0.8}, {d, 0.95}} {
		near(t, fmt.Sprintf("finished by p%.0f", 100*k.p), k.got, k.p, 0.03+3*math.Sqrt(k.p*(1-k.p)/float64(sum.Finished)))
	}
}
