package main

import (
	"crypto/sha256"
	"fmt"
	"io"
	"runtime"
	"slices"
	"text/tabwriter"
	"time"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// floor is the shop, with one more post at each work center so that ten thousand
// orders are less than its horizon of work, behind so many orders of the benchmark's hatch, in the sizes that
// a shop would have.
type floor struct {
	orders, operations int
	memory             uint64        // of one scenario, bytes
	profiles           time.Duration // all scenarios anew
	search             time.Duration // the plan's order, with the budget that the service gives it
	schedules          int           // generated in that
	place              []time.Duration
}

// benchFloors measures what the open work costs at each size, on one core: what the
// worker does when it changes, and what a request costs behind it. A request's
// durations are drawn anew each time, and the sizes take turns.
func benchFloors(e *derivation.Engine, sizes []int, rounds int) ([]floor, error) {
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
	model, _, _, err := backlog.Learn(e.Documents().Profile, nil)
	if err != nil {
		return nil, err
	}
	now := time.Date(2026, 1, 12, 8, 0, 0, 0, e.Calendar().Location())
	centers := slices.Clone(e.Centers())
	for i := range centers {
		centers[i].Posts++
	}
	var kinds [][]routing.Step
	for i := range 6 {
		request := fmt.Sprintf(`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":%d,"width":410,"corner_radius":70},"lid":{"land_width":16}}`, 480+20*i)
		r, err := deriveBytes(e, request, now)
		if err != nil {
			return nil, err
		}
		kinds = append(kinds, r.LeadTime.Steps)
	}
	floors, made := make([]floor, len(sizes)), make([]*schedule.Profiles, len(sizes))
	for k, n := range sizes {
		f := &floors[k]
		f.orders = n
		jobs := make([]schedule.Job, n)
		for i := range jobs {
			jobs[i] = routing.Job(fmt.Sprintf("order %d", i), kinds[i%len(kinds)])
			jobs[i].Promised = now.AddDate(0, 0, 10+i/3)
			f.operations += len(jobs[i].Operations)
		}
		begin := time.Now()
		plan, err := schedule.Improve(jobs, centers, now, backlog.PlanSchedules(jobs), 1)
		if err != nil {
			return nil, err
		}
		f.search, f.schedules = time.Since(begin), plan.Generated
		before := inUse()
		begin = time.Now()
		made[k], err = schedule.NewProfiles(schedule.Setup{Jobs: jobs, Centers: centers, Origin: now, Model: model, Order: plan.Order})
		if err != nil {
			return nil, err
		}
		f.profiles = time.Since(begin)
		f.memory = (inUse() - before) / uint64(made[k].Scenarios())
	}
	job := routing.Job("order", kinds[3])
	for i := range rounds + rounds/10 {
		for k, p := range made {
			seed := sha256.Sum256(fmt.Append(nil, i))
			begin := time.Now()
			if _, err := p.Place(job, now, seed); err != nil {
				return nil, err
			}
			if i >= rounds/10 { // warm by then
				floors[k].place = append(floors[k].place, time.Since(begin))
			}
		}
	}
	return floors, nil
}

func inUse() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// reportFloors writes the ladder; the ratio is against the first size.
func reportFloors(out io.Writer, floors []floor) {
	fmt.Fprintf(out, "\nbehind open orders of a shop with a post more at each center, %d scenarios, one core; ratios against the first line\n\n", schedule.Scenarios)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "orders\toperations\tlead time, median µs\tleast µs\tratio\tscenarios anew, s\tratio\tplan search, s\tschedules\tKB a scenario\t")
	base := floors[0]
	for _, f := range floors {
		fmt.Fprintf(w, "%d\t%d\t%d\t%d\t%.2f\t%.3f\t%.1f\t%.3f\t%d\t%.0f\t\n", f.orders, f.operations,
			quantile(f.place, 50).Microseconds(), quantile(f.place, 0).Microseconds(), float64(quantile(f.place, 50))/float64(quantile(base.place, 50)),
			f.profiles.Seconds(), float64(f.profiles)/float64(base.profiles), f.search.Seconds(), f.schedules, float64(f.memory)/1e3)
	}
	_ = w.Flush()
}
