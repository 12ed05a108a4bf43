package schedule_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/schedule"
)

// always is a center open round the clock.
func always(t testing.TB, key string, posts int) schedule.Center {
	var s []schedule.Shift
	for d := time.Sunday; d <= time.Saturday; d++ {
		s = append(s, schedule.Shift{Weekday: d, Start: 0, End: 24 * hour})
	}
	return schedule.Center{Key: key, Posts: posts, Calendar: calendar(t, time.UTC, s)}
}

var origin = time.Date(2026, 1, 12, 13, 0, 0, 0, time.UTC) // 08:00 in New York

// hoursOf the sampled finishes since the origin.
func hoursOf(l schedule.LeadTime, from time.Time) []float64 {
	x := make([]float64, len(l.Finishes))
	for i, f := range l.Finishes {
		x[i] = f.Sub(from).Hours()
	}
	return x
}

func moments(x []float64) (mean, variance, fourth float64) {
	for _, v := range x {
		mean += v
	}
	mean /= float64(len(x))
	for _, v := range x {
		d := (v - mean) * (v - mean)
		variance += d
		fourth += d * d
	}
	n := float64(len(x))
	return mean, variance / (n - 1), fourth / n
}

// With nothing uncertain, placing behind the profiles is serial generation with
// the request last: in every scenario and for every operation.
func TestPlaceWithoutSpreadIsSerial(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		quarter := func(j schedule.Job) schedule.Job {
			for i := range j.Operations {
				j.Operations[i].Labor = j.Operations[i].Labor.Round(15*minute) + 15*minute
			}
			return j
		}
		var jobs []schedule.Job
		for k := range rapid.IntRange(0, 15).Draw(rt, "jobs") {
			jobs = append(jobs, quarter(hatchJob(rng, string(rune('a'+k)))))
		}
		job := quarter(hatchJob(rng, "new"))
		// A mold of the shop, shared with the backlog's first job.
		if len(jobs) > 0 {
			for i := range job.Operations {
				if job.Operations[i].Mold == "new lid" {
					job.Operations[i].Mold = "a lid"
				}
			}
		}
		s := schedule.Setup{Jobs: jobs, Centers: benchShop(t), Origin: origin, Model: schedule.Model{Default: schedule.Spread{Factor: 1}}, Scenarios: 3}
		p := profiles(t, s)
		l, err := p.Place(job, origin, [32]byte{})
		if err != nil {
			rt.Fatal(err)
		}
		order := append(schedule.PriorityOrder(jobs), len(jobs))
		want, err := schedule.Serial(append(jobs, job), s.Centers, origin, order)
		if err != nil {
			rt.Fatal(err)
		}
		end := want.Jobs[len(jobs)].End
		for _, f := range l.Finishes {
			if !f.Equal(end) {
				rt.Fatalf("finish %v, serial %v", f, end)
			}
		}
		if !reflect.DeepEqual(l.Shares, want.Jobs[len(jobs)].Critical.Shares) || l.Driver != want.Jobs[len(jobs)].Critical.Driver {
			rt.Fatalf("shares %v, serial %v", l.Shares, want.Jobs[len(jobs)].Critical.Shares)
		}
		for k, b := range p.Backlog() {
			if !b.P50.Equal(want.Jobs[k].End) || !b.P95.Equal(want.Jobs[k].End) {
				rt.Fatalf("backlog %d at %v, serial %v", k, b, want.Jobs[k].End)
			}
		}
	})
}

// A serial chain round the clock: the sum of lognormals has exact moments. The
// tolerance is four standard errors of the sample mean and variance.
//
//	se(mean) = s / sqrt(n),  se(s^2) = sqrt((m4 - s^4) / n)
func TestChainMoments(t *testing.T) {
	labors := []float64{4, 6, 10, 8, 3} // medians, hours
	const sigma = 0.3
	for _, common := range []float64{0, 1} {
		var job schedule.Job
		var tasks []schedule.Lognormal
		for i, h := range labors {
			o := op(string(rune('a'+i)), "A", time.Duration(h*float64(hour)), 0)
			if i > 0 {
				o.After = []string{job.Operations[i-1].Key}
			}
			job.Operations = append(job.Operations, o)
			tasks = append(tasks, schedule.Lognormal{Mu: math.Log(1.1 * h), Sigma: sigma})
		}
		p := profiles(t, schedule.Setup{Centers: []schedule.Center{always(t, "A", 1)}, Origin: origin,
			Model: schedule.Model{Default: schedule.Spread{Factor: 1.1, Sigma: sigma}, Common: common}, Scenarios: schedule.MaxScenarios, Seed: [32]byte{9}})
		l, err := p.Place(job, origin, [32]byte{1})
		if err != nil {
			t.Fatal(err)
		}
		want := schedule.IndependentSum(tasks)
		if common == 1 {
			want = schedule.CorrelatedSum(tasks)
		}
		x := hoursOf(l, origin)
		mean, variance, fourth := moments(x)
		n := float64(len(x))
		near(t, "mean", mean, want.Mean, 4*want.Deviation/math.Sqrt(n))
		near(t, "variance", variance, want.Deviation*want.Deviation, 4*math.Sqrt((fourth-variance*variance)/n))
		// Every operation of a chain is always critical.
		for _, c := range l.Criticality {
			if c.Index != 1 {
				t.Errorf("common %v: criticality %v", common, c)
			}
		}
		if common == 1 {
			// All long or short together: the sum is lognormal itself.
			exact := schedule.Lognormal{Mu: math.Log(1.1 * 31), Sigma: sigma}
			near(t, "p80", schedule.Percentile(x, 0.8), exact.Quantile(0.8), 4*schedule.PercentileError(x, 0.8))
		}
	}
}

// The Reliable Construction Co. project of F. S. Hillier, G. J. Lieberman,
// Introduction to Operations Research (7th ed. 2001 and later, chapter on PERT
// and CPM; estimates and answers from memory): fourteen activities in weeks,
// mean critical path 44 weeks, variance 9, P(T <= 47) = 0.84.
func TestPERT(t *testing.T) {
	activities := []struct {
		key   string
		e     schedule.ThreePoint
		after []string
	}{
		{"A", schedule.ThreePoint{Optimistic: 1, Likely: 2, Pessimistic: 3}, nil},
		{"B", schedule.ThreePoint{Optimistic: 2, Likely: 3.5, Pessimistic: 8}, []string{"A"}},
		{"C", schedule.ThreePoint{Optimistic: 6, Likely: 9, Pessimistic: 18}, []string{"B"}},
		{"D", schedule.ThreePoint{Optimistic: 4, Likely: 5.5, Pessimistic: 10}, []string{"C"}},
		{"E", schedule.ThreePoint{Optimistic: 1, Likely: 4.5, Pessimistic: 5}, []string{"C"}},
		{"F", schedule.ThreePoint{Optimistic: 4, Likely: 4, Pessimistic: 10}, []string{"E"}},
		{"G", schedule.ThreePoint{Optimistic: 5, Likely: 6.5, Pessimistic: 11}, []string{"D"}},
		{"H", schedule.ThreePoint{Optimistic: 5, Likely: 8, Pessimistic: 17}, []string{"E", "G"}},
		{"I", schedule.ThreePoint{Optimistic: 3, Likely: 7.5, Pessimistic: 9}, []string{"C"}},
		{"J", schedule.ThreePoint{Optimistic: 3, Likely: 9, Pessimistic: 9}, []string{"F", "I"}},
		{"K", schedule.ThreePoint{Optimistic: 4, Likely: 4, Pessimistic: 4}, []string{"J"}},
		{"L", schedule.ThreePoint{Optimistic: 1, Likely: 5.5, Pessimistic: 7}, []string{"J"}},
		{"M", schedule.ThreePoint{Optimistic: 1, Likely: 2, Pessimistic: 3}, []string{"H"}},
		{"N", schedule.ThreePoint{Optimistic: 5, Likely: 5.5, Pessimistic: 9}, []string{"K", "L"}},
	}
	const week = 7 * 24 * hour
	weeks := func(w float64) time.Duration { return time.Duration(w * float64(week)) }

	// The mean path, by the deterministic forward pass.
	mean := schedule.Job{Key: "mean"}
	variance := map[string]float64{}
	for _, a := range activities {
		mean.Operations = append(mean.Operations, op(a.key, "", 0, weeks(a.e.Mean()).Round(time.Second), a.after...))
		variance[a.key] = a.e.Variance()
	}
	s, err := schedule.Serial([]schedule.Job{mean}, nil, origin, nil)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean path, weeks", s.Jobs[0].End.Sub(origin).Hours()/week.Hours(), 44, 1e-4)
	path, v := "", 0.0
	for _, k := range s.Jobs[0].Critical.Path {
		path += k
		v += variance[k]
	}
	if path != "ABCEFJLN" {
		t.Errorf("mean critical path %s", path)
	}
	near(t, "variance", v, 9, 1e-12)
	near(t, "P(T <= 47)", schedule.NormalProbability((47-44)/math.Sqrt(v)), 0.84, 5e-3)

	// The sampler on lognormals of the same means and deviations. Paths meet,
	// so the mean project is longer than its mean path; the path alone, as a
	// chain, has the book's mean and variance.
	run := func(keys string) []float64 {
		m := schedule.Model{Kinds: map[string]schedule.Spread{}, Default: schedule.Spread{Factor: 1}}
		var job schedule.Job
		for _, a := range activities {
			if keys != "" && !contains(keys, a.key) {
				continue
			}
			wait, sigma := a.e.Mean(), 0.0
			if a.e.Variance() > 0 {
				l, err := schedule.LognormalOf(a.e.Mean(), math.Sqrt(a.e.Variance())/a.e.Mean())
				if err != nil {
					t.Fatal(err)
				}
				wait, sigma = l.Median(), l.Sigma
			}
			m.Kinds[a.key] = schedule.Spread{Factor: 1, WaitSigma: sigma}
			o := op(a.key, "", 0, weeks(wait))
			for _, k := range a.after {
				if keys == "" || contains(keys, k) {
					o.After = append(o.After, k)
				}
			}
			job.Operations = append(job.Operations, o)
		}
		p := profiles(t, schedule.Setup{Origin: origin, Model: m, Scenarios: schedule.MaxScenarios})
		l, err := p.Place(job, origin, [32]byte{2})
		if err != nil {
			t.Fatal(err)
		}
		x := hoursOf(l, origin)
		for i := range x {
			x[i] /= week.Hours()
		}
		return x
	}
	x := run("ABCEFJLN")
	n := float64(len(x))
	m, sv, m4 := moments(x)
	near(t, "sampled path mean", m, 44, 4*3/math.Sqrt(n))
	near(t, "sampled path variance", sv, 9, 4*math.Sqrt((m4-sv*sv)/n))
	by47 := func(x []float64) float64 {
		k := 0
		for _, w := range x {
			if w <= 47 {
				k++
			}
		}
		return float64(k) / float64(len(x))
	}
	// The lognormal sum is a little skewed: within 2 points of the normal.
	near(t, "sampled path P(T <= 47)", by47(x), 0.8413, 0.02)
	whole := run("")
	if wm, _, _ := moments(whole); wm <= 44 || by47(whole) >= by47(x) {
		t.Errorf("whole project: mean %v, P(T <= 47) %v, path %v", wm, by47(whole), by47(x))
	}
}

func contains(keys, k string) bool {
	for i := range keys {
		if keys[i:i+1] == k {
			return true
		}
	}
	return false
}

// Same request, same answer, from many goroutines at once; another seed, other
// draws within the standard error.
func TestPlaceIsDeterministic(t *testing.T) {
	s := setup(t, 20)
	p, q := profiles(t, s), profiles(t, s)
	job := hatchJob(rand.New(rand.NewPCG(3, 4)), "new")
	want, err := p.Place(job, p.Origin(), [32]byte{1})
	if err != nil {
		t.Fatal(err)
	}
	if !want.P50.Before(want.P80) || !want.P80.Before(want.P95) || want.P80Error <= 0 {
		t.Errorf("percentiles %+v, error %v", want.Percentiles, want.P80Error)
	}
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for _, x := range []*schedule.Profiles{p, q} {
				got, err := x.Place(job, x.Origin(), [32]byte{1})
				if err != nil || !reflect.DeepEqual(got, want) {
					t.Errorf("another answer: %v", err)
				}
			}
		})
	}
	wg.Wait()
	other, err := p.Place(job, p.Origin(), [32]byte{2})
	if err != nil {
		t.Fatal(err)
	}
	if other.P80.Equal(want.P80) {
		t.Error("another seed, the same p80 to the second")
	}
	if d := other.P80.Sub(want.P80).Abs(); d > 4*want.P80Error+4*other.P80Error {
		t.Errorf("seeds differ by %v, standard errors %v and %v", d, want.P80Error, other.P80Error)
	}
}

// First-pull rework at 0.14: the share of scenarios that take it, within four
// binomial standard errors, and by exactly the time it costs.
func TestRisk(t *testing.T) {
	job := schedule.Job{Key: "new", Operations: []schedule.Operation{op("demold", "A", 2*hour, 0)}}
	job.Operations[0].Risk, job.Operations[0].RiskLabor, job.Operations[0].RiskWait = 0.14, 5*hour, hour
	p := profiles(t, schedule.Setup{Centers: []schedule.Center{always(t, "A", 1)}, Origin: origin, Model: schedule.Model{Default: schedule.Spread{Factor: 1}}, Scenarios: 4096})
	l, err := p.Place(job, origin, [32]byte{3})
	if err != nil {
		t.Fatal(err)
	}
	rework := 0
	for _, h := range hoursOf(l, origin) {
		switch h {
		case 2:
		case 8:
			rework++
		default:
			t.Fatalf("finish after %v h", h)
		}
	}
	near(t, "share of rework", float64(rework)/4096, 0.14, 4*math.Sqrt(0.14*0.86/4096))
}

// One center busy for 40 h round the clock: one more post saves just that.
// Material 60 h away decides another operation; without it the queue does.
func TestRelieve(t *testing.T) {
	centers := []schedule.Center{always(t, "booth", 1), always(t, "bench", 1)}
	backlog := []schedule.Job{{Key: "old", Operations: []schedule.Operation{op("spray", "booth", 40*hour, 0)}}}
	p := profiles(t, schedule.Setup{Jobs: backlog, Centers: centers, Origin: origin, Model: schedule.Model{Default: schedule.Spread{Factor: 1}}, Scenarios: 8})
	job := schedule.Job{Key: "new", Operations: []schedule.Operation{op("spray", "booth", 2*hour, 3*hour)}}
	l, err := p.Place(job, origin, [32]byte{})
	if err != nil {
		t.Fatal(err)
	}
	if want := (schedule.Share{Cause: schedule.CauseQueue, Key: "booth", Time: 40 * hour}); l.Driver != want {
		t.Errorf("driver %v, want %v", l.Driver, want)
	}
	got, err := p.Relieve(job, origin, [32]byte{}, 3, nil)
	if err != nil {
		t.Fatal(err)
	}
	if want := []schedule.Relief{{Cause: schedule.CauseQueue, Key: "booth", Saves: 40 * hour}}; !reflect.DeepEqual(got, want) {
		t.Errorf("relief %v, want %v", got, want)
	}
	at := origin.Add(60 * hour)
	job.Operations[0].MaterialReady = &at
	if l, err = p.Place(job, origin, [32]byte{}); err != nil {
		t.Fatal(err)
	}
	if want := (schedule.Share{Cause: schedule.CauseMaterial, Key: "spray", Time: 60 * hour}); l.Driver != want || !l.P80.Equal(at.Add(5*hour)) {
		t.Errorf("driver %v, p80 %v", l.Driver, l.P80)
	}
	if got, err = p.Relieve(job, origin, [32]byte{}, 3, nil); err != nil {
		t.Fatal(err)
	}
	if want := []schedule.Relief{{Cause: schedule.CauseMaterial, Saves: 20 * hour}}; !reflect.DeepEqual(got, want) {
		t.Errorf("relief %v, want %v", got, want)
	}
}

// A shop's mold with a part in it is waited for, and a mold of its own would
// save that.
func TestPlaceWaitsForMold(t *testing.T) {
	in := op("lay", "A", 2*hour, 30*hour)
	in.Mold = "M"
	p := profiles(t, schedule.Setup{Jobs: []schedule.Job{{Key: "old", Holds: []string{"M"}, Operations: []schedule.Operation{in}}},
		Centers: []schedule.Center{always(t, "A", 2)}, Origin: origin, Model: schedule.Model{Default: schedule.Spread{Factor: 1}}, Scenarios: 4})
	job := schedule.Job{Key: "new", Operations: []schedule.Operation{in}}
	l, err := p.Place(job, origin, [32]byte{})
	if err != nil {
		t.Fatal(err)
	}
	if want := (schedule.Share{Cause: schedule.CauseMold, Key: "M", Time: 32 * hour}); l.Driver != want || !l.P50.Equal(origin.Add(64*hour)) {
		t.Errorf("driver %v, p50 %v", l.Driver, l.P50)
	}
	got, err := p.Relieve(job, origin, [32]byte{}, 1, nil)
	if err != nil {
		t.Fatal(err)
	}
	if want := []schedule.Relief{{Cause: schedule.CauseMold, Saves: 32 * hour}}; !reflect.DeepEqual(got, want) {
		t.Errorf("relief %v, want %v", got, want)
	}
}

func TestProfilesRefuse(t *testing.T) {
	good := func() schedule.Setup { return setup(t, 1) }
	for name, k := range map[string]struct {
		spoil func(s *schedule.Setup)
		want  error
	}{
		"no factor":       {func(s *schedule.Setup) { s.Model = schedule.Model{} }, schedule.ErrDistribution},
		"wide":            {func(s *schedule.Setup) { s.Model.Default.Sigma = 2.1 }, schedule.ErrDistribution},
		"not a number":    {func(s *schedule.Setup) { s.Model.Default.Sigma = math.NaN() }, schedule.ErrDistribution},
		"a kind":          {func(s *schedule.Setup) { s.Model.Kinds = map[string]schedule.Spread{"fit": {Factor: -1}} }, schedule.ErrDistribution},
		"common":          {func(s *schedule.Setup) { s.Model.Common = 1.1 }, schedule.ErrDistribution},
		"negative count":  {func(s *schedule.Setup) { s.Scenarios = -1 }, schedule.ErrDistribution},
		"too many":        {func(s *schedule.Setup) { s.Scenarios = schedule.MaxScenarios + 1 }, schedule.ErrDistribution},
		"year 1":          {func(s *schedule.Setup) { s.Origin = time.Time{} }, schedule.ErrOutOfRange},
		"unknown center":  {func(s *schedule.Setup) { s.Centers = s.Centers[1:] }, schedule.ErrUnknownCenter},
		"beyond horizon":  {func(s *schedule.Setup) { s.Jobs[0].Operations[0].Labor = 30 * 366 * 24 * hour }, schedule.ErrNothingOpens},
		"two of one name": {func(s *schedule.Setup) { s.Jobs = append(s.Jobs, s.Jobs[0]) }, schedule.ErrDuplicateKey},
	} {
		t.Run(name, func(t *testing.T) {
			s := good()
			k.spoil(&s)
			if _, err := schedule.NewProfiles(s); !errors.Is(err, k.want) {
				t.Fatalf("error %v, want %v", err, k.want)
			}
		})
	}
	p := profiles(t, good())
	cyclic := schedule.Job{Key: "new", Operations: []schedule.Operation{op("a", "trim", hour, 0, "b"), op("b", "trim", hour, 0, "a")}}
	if _, err := p.Place(cyclic, origin, [32]byte{}); !errors.Is(err, schedule.ErrCycle) {
		t.Errorf("cycle: %v", err)
	}
	if _, err := p.Place(schedule.Job{Key: "new"}, origin.AddDate(100, 0, 0), [32]byte{}); !errors.Is(err, schedule.ErrNothingOpens) {
		t.Errorf("next century: %v", err)
	}
	// A job with nothing to do is done when it may begin.
	l, err := p.Place(schedule.Job{Key: "new"}, origin.Add(hour), [32]byte{})
	if err != nil || !l.P95.Equal(origin.Add(hour)) {
		t.Errorf("nothing to do: %v %v", l.P95, err)
	}
}
