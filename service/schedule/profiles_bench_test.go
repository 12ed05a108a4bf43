package schedule_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"hatchwright/service/schedule"
)

// benchShop is an invented shop of eight centers and fifteen posts.
func benchShop(t testing.TB) []schedule.Center {
	c := calendar(t, zone(t, "America/New_York"), dayShifts(),
		schedule.Closure{From: date("2026-12-24"), To: date("2027-01-01")}, schedule.Closure{From: date("2026-07-03"), To: date("2026-07-03")})
	var out []schedule.Center
	for _, k := range []struct {
		key   string
		posts int
	}{{"office", 1}, {"router", 1}, {"mold bench", 3}, {"finishing", 2}, {"booth", 1}, {"lamination", 3}, {"trim", 2}, {"assembly", 2}} {
		out = append(out, schedule.Center{Key: k.key, Posts: k.posts, Calendar: c})
	}
	return out
}

// hatchJob is a routing of eighteen operations: receiver and lid side by side
// until the fit check, each with a mold of its own.
func hatchJob(rng *rand.Rand, key string) schedule.Job {
	h := func(lo, hi float64) time.Duration {
		return time.Duration((lo+(hi-lo)*rng.Float64())*60).Round(5) * time.Minute
	}
	j := schedule.Job{Key: key}
	add := func(key, kind, center string, labor, wait time.Duration, mold string, after ...string) {
		j.Operations = append(j.Operations, schedule.Operation{Key: key, Kind: kind, WorkCenter: center, Labor: labor, Crew: 1, Wait: wait, Mold: mold, After: after})
	}
	add("review", "review", "office", h(0.3, 1), 0, "")
	for _, s := range []string{"receiver", "lid"} {
		m := key + " " + s
		add(s+" route", "route", "router", h(0.5, 2), 0, "", "review")
		add(s+" build", "build", "mold bench", h(2, 5), 0, "", s+" route")
		add(s+" fair", "fair", "finishing", h(1, 3), 8*time.Hour, "", s+" build")
		add(s+" gelcoat", "gelcoat", "booth", h(0.5, 1.2), 3*time.Hour, m, s+" fair")
		add(s+" laminate", "laminate", "lamination", h(1.5, 4), 16*time.Hour, m, s+" gelcoat")
		add(s+" demold", "demold", "lamination", h(0.3, 0.8), 0, m, s+" laminate")
		add(s+" trim", "trim", "trim", h(0.7, 2), 0, "", s+" demold")
	}
	add("fit", "fit", "assembly", h(0.5, 1.5), 0, "", "receiver trim", "lid trim")
	add("hardware", "hardware", "assembly", h(0.5, 2), 0, "", "fit")
	add("pack", "pack", "assembly", h(0.3, 0.6), 0, "", "hardware")
	return j
}

// deepJob is a routing of forty-six operations, as a full hatch has: drying and
// curing as operations of their own, inspections, and a mold of three parts a side.
func deepJob(rng *rand.Rand, key string) schedule.Job {
	h := func(lo, hi float64) time.Duration {
		return time.Duration((lo+(hi-lo)*rng.Float64())*60).Round(5) * time.Minute
	}
	j := schedule.Job{Key: key}
	add := func(key, center string, labor, wait time.Duration, mold string, after ...string) {
		j.Operations = append(j.Operations, schedule.Operation{Key: key, Kind: key, WorkCenter: center, Labor: labor, Crew: 1, Wait: wait, Mold: mold, After: after})
	}
	add("review", "office", h(0.3, 1), 0, "")
	add("drawing", "office", h(1, 3), 0, "", "review")
	for _, s := range []string{"receiver", "lid"} {
		m, last := key+" "+s, "drawing"
		then := func(name, center string, labor, wait time.Duration, mold string) {
			add(s+" "+name, center, labor, wait, mold, last)
			last = s + " " + name
		}
		then("program", "office", h(0.3, 1), 0, "")
		then("route", "router", h(0.5, 2), 0, "")
		then("glue", "mold bench", h(1, 2), 4*time.Hour, "")
		then("build", "mold bench", h(1, 3), 0, "")
		then("fillet", "mold bench", h(0.3, 1), 2*time.Hour, "")
		for _, coat := range []string{"first", "second"} {
			then(coat+" filler", "finishing", h(0.5, 1.5), 6*time.Hour, "")
			then(coat+" sanding", "finishing", h(0.5, 1.5), 0, "")
		}
		then("prime", "booth", h(0.3, 0.8), 8*time.Hour, "")
		then("block", "finishing", h(0.5, 2), 0, "")
		then("wax", "finishing", h(0.5, 1), time.Hour, "")
		then("gelcoat", "booth", h(0.5, 1.2), 3*time.Hour, m)
		then("skin", "lamination", h(0.5, 1.5), 12*time.Hour, m)
		then("core", "lamination", h(0.5, 2), 4*time.Hour, m)
		then("bulk", "lamination", h(0.5, 2), 0, m)
		then("cure", "", 0, 16*time.Hour, m)
		then("demold", "lamination", h(0.3, 0.8), 0, m)
		then("trim", "trim", h(0.7, 2), 0, "")
		then("inspect", "office", h(0.2, 0.4), 0, "")
	}
	add("fit", "assembly", h(0.5, 1.5), 0, "", "receiver inspect", "lid inspect")
	add("hardware", "assembly", h(0.5, 2), 0, "", "fit")
	add("leak test", "assembly", h(0.3, 0.6), 0, "", "hardware")
	add("pack", "assembly", h(0.3, 0.6), 0, "", "leak test")
	return j
}

func backlog(n int) []schedule.Job {
	rng := rand.New(rand.NewPCG(1, 2))
	jobs := make([]schedule.Job, n)
	for k := range jobs {
		jobs[k] = hatchJob(rng, fmt.Sprintf("H%05d", k))
		jobs[k].Promised = time.Date(2026, 2, 1+k/4, 0, 0, 0, 0, time.UTC)
	}
	return jobs
}

func spreads() schedule.Model {
	return schedule.Model{Default: schedule.Spread{Factor: 1.05, Sigma: 0.3}, Common: 0.2}
}

func setup(t testing.TB, n int) schedule.Setup {
	return schedule.Setup{Jobs: backlog(n), Centers: benchShop(t), Origin: time.Date(2026, 1, 12, 8, 0, 0, 0, time.UTC), Model: spreads(), Seed: [32]byte{1}}
}

func profiles(t testing.TB, s schedule.Setup) *schedule.Profiles {
	t.Helper()
	p, err := schedule.NewProfiles(s)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func BenchmarkNewProfiles(b *testing.B) {
	for _, n := range []int{10, 100, 1000} {
		b.Run(fmt.Sprintf("orders=%d", n), func(b *testing.B) {
			s := setup(b, n)
			total := 0
			for b.Loop() {
				total += profiles(b, s).Scenarios()
			}
			if total == 0 {
				b.Fatal("no profiles")
			}
		})
	}
}

// The largest backlog takes under a minute to prepare.
func BenchmarkPlace(b *testing.B) {
	for _, n := range []int{10, 100, 1000, 10_000} {
		b.Run(fmt.Sprintf("orders=%d", n), func(b *testing.B) {
			p := profiles(b, setup(b, n))
			for _, job := range []schedule.Job{hatchJob(rand.New(rand.NewPCG(3, 4)), "new"), deepJob(rand.New(rand.NewPCG(3, 4)), "deep")} {
				b.Run(fmt.Sprintf("operations=%d", len(job.Operations)), func(b *testing.B) {
					var sum int64
					seed := byte(0)
					for b.Loop() {
						seed++
						l, err := p.Place(job, p.Origin(), [32]byte{seed})
						if err != nil {
							b.Fatal(err)
						}
						sum += l.P80.Unix()
					}
					if sum == 0 {
						b.Fatal("no date")
					}
				})
			}
		})
	}
}

// BenchmarkImprove is the search for a better order on the worker's budget, in a
// backlog half of which is late.
func BenchmarkImprove(b *testing.B) {
	for _, n := range []int{10, 100, 1000} {
		b.Run(fmt.Sprintf("orders=%d", n), func(b *testing.B) {
			s := setup(b, n)
			var r schedule.Improvement
			var err error
			for b.Loop() {
				if r, err = schedule.Improve(s.Jobs, s.Centers, s.Origin, 256, 1); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(r.Generated), "schedules")
			if r.Before > 0 {
				b.ReportMetric(100*(1-r.Tardiness/r.Before), "%less-late")
			}
		})
	}
}
