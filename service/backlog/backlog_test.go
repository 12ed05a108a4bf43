package backlog_test

import (
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/backlog"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// now is a Monday, 9 in the morning in New York, in a shop that works from 7.
var now = time.Date(2027, 3, 1, 14, 0, 0, 0, time.UTC)

func floor(t interface {
	Helper()
	Fatal(...any)
}) backlog.Floor {
	t.Helper()
	c, err := routing.Calendar(shop.Example().Profile)
	if err != nil {
		t.Fatal(err)
	}
	return backlog.Floor{Now: now, Calendar: c, Model: schedule.Model{Default: schedule.Spread{Factor: 1, Sigma: 0.3}}}
}

// lid is a mold that is built and one part out of it.
func lid() backlog.Plan {
	return backlog.Plan{Operations: []backlog.Operation{
		{Key: "build", Kind: "fair", Center: "mold bench", Hours: 4},
		{Key: "glass", Kind: "cut_glass", Center: "laminating", Hours: 1},
		{Key: "gelcoat", Kind: "gelcoat", Center: "gelcoat booth", Hours: 1, Wait: 2, After: []string{"build"}, Mold: "m"},
		{Key: "laminate", Kind: "laminate", Center: "laminating", Hours: 2, Wait: 16, After: []string{"gelcoat", "glass"}, Mold: "m"},
		{Key: "demold", Kind: "demold", Center: "trim and fit", Hours: 0.5, Crew: 2, After: []string{"laminate"}, Mold: "m"},
		{Key: "trim", Kind: "trim", Center: "trim and fit", Hours: 1, After: []string{"demold"}},
	}}
}

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func ago(h float64) time.Time { return now.Add(-hours(h)) }

func finished(key string, from, to float64) backlog.Report {
	end := ago(to)
	return backlog.Report{Operation: key, Started: ago(from), Finished: &end}
}

func keys(j schedule.Job) string {
	var out []string
	for _, o := range j.Operations {
		out = append(out, o.Key)
	}
	return strings.Join(out, " ")
}

func TestUnfinished(t *testing.T) {
	f := floor(t)
	for _, c := range []struct {
		name    string
		reports []backlog.Report
		left    string
		holds   []string
		check   func(schedule.Job) string
	}{
		{name: "nothing begun", left: "build glass gelcoat laminate demold trim"},
		{name: "the mold is built", reports: []backlog.Report{finished("build", 2, 1)}, left: "glass gelcoat laminate demold trim",
			check: func(j schedule.Job) string { return fmt.Sprint(j.Operations[1].After) }}, // []
		{name: "an hour into the gel", reports: []backlog.Report{finished("build", 9, 8), finished("gelcoat", 2, 1)}, left: "glass gelcoat laminate demold trim",
			check: func(j schedule.Job) string {
				o := j.Operations[1]
				if o.Started && o.Labor == 0 && o.WorkCenter == "" && o.Wait == time.Hour && o.Mold == "job m" {
					return "[]"
				}
				return fmt.Sprintf("%+v", o)
			}},
		{name: "gelled", reports: []backlog.Report{finished("build", 9, 8), finished("gelcoat", 4, 3)}, left: "glass laminate demold trim", holds: []string{"job m"}},
		{name: "records skipped: laminating vouches for what comes before", reports: []backlog.Report{{Operation: "laminate", Started: ago(1)}}, left: "laminate demold trim", holds: []string{"job m"},
			check: func(j schedule.Job) string {
				if o := j.Operations[0]; !o.Started || o.Labor <= 0 || o.Labor >= hours(2) || o.Wait != hours(16) || len(o.After) > 0 {
					return fmt.Sprintf("%+v", o)
				}
				return "[]"
			}},
		{name: "out of the mold", reports: []backlog.Report{finished("demold", 1, 0.5)}, left: "trim"},
		{name: "an operation that is not of the plan", reports: []backlog.Report{finished("paint", 1, 0.5)}, left: "build glass gelcoat laminate demold trim"},
		{name: "all done", reports: []backlog.Report{finished("trim", 1, 0)}, left: ""},
	} {
		j, open, err := lid().Unfinished("job", c.reports, f)
		if err != nil || keys(j) != c.left || open != (c.left != "") || !slices.Equal(j.Holds, c.holds) {
			t.Errorf("%s: %q, holds %v, open %v, %v", c.name, keys(j), j.Holds, open, err)
			continue
		}
		if c.check != nil {
			if got := c.check(j); got != "[]" {
				t.Errorf("%s: %s", c.name, got)
			}
		}
	}
	bad := lid()
	bad.Operations[2].Hours = -1
	if _, _, err := bad.Unfinished("job", nil, f); err == nil || !strings.Contains(err.Error(), `"gelcoat"`) {
		t.Errorf("hours below 0: %v", err)
	}
}

// Whatever is recorded, what is left can be scheduled, and is never more than the
// whole.
func TestUnfinishedProperty(t *testing.T) {
	f := floor(t)
	centers, _, err := routing.Centers(shop.Example().Profile)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		p := lid()
		if rapid.Bool().Draw(t, "registered") {
			for i := range p.Operations {
				if p.Operations[i].Mold != "" {
					p.Operations[i].Mold, p.Operations[i].Registered = "", "7"
				}
			}
		}
		var reports []backlog.Report
		for _, o := range p.Operations {
			start := ago(rapid.Float64Range(0, 40).Draw(t, "start"))
			switch rapid.IntRange(0, 2).Draw(t, o.Key) {
			case 1:
				reports = append(reports, backlog.Report{Operation: o.Key, Started: start})
			case 2:
				end := start.Add(rapid.Custom(func(t *rapid.T) time.Duration {
					return time.Duration(rapid.Int64Range(0, int64(now.Sub(start))).Draw(t, "took"))
				}).Draw(t, "took"))
				reports = append(reports, backlog.Report{Operation: o.Key, Started: start, Finished: &end})
			}
		}
		j, open, err := p.Unfinished("job", reports, f)
		if err != nil || len(j.Operations) > len(p.Operations) || open != (len(j.Operations) > 0) {
			t.Fatal(keys(j), open, err)
		}
		s, err := schedule.Serial([]schedule.Job{j}, centers, now, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := schedule.Verify([]schedule.Job{j}, centers, s); err != nil {
			t.Fatal(err)
		}
	})
}

func TestReadPlan(t *testing.T) {
	p := lid()
	p.Needs = []backlog.Need{{Material: "resin", Unit: "kg", Amount: 1_500_000, Kind: "laminate", Part: "lid"}}
	body, err := json.Marshal(p)
	if err != nil {
		t.Fatal(err)
	}
	back, err := backlog.Read(body, backlog.Version)
	if err != nil || !reflect.DeepEqual(p, back) {
		t.Errorf("%+v, %v", back, err)
	}
	for _, c := range []struct {
		body    string
		version int
	}{{"{}", 2}, {"[", 1}, {`{"operations": 3}`, 1}} {
		if _, err := backlog.Read([]byte(c.body), c.version); err == nil {
			t.Errorf("%q of layout %d was read", c.body, c.version)
		}
	}
}

// A plan kept before operations noted their part tells it by their keys.
func TestReadPlanWithoutParts(t *testing.T) {
	p, err := backlog.Read([]byte(`{"operations": [{"key": "2-lid-1-gelcoat"}, {"key": "2-receiver-mold-panels"}, {"key": "2-hatch-1-packing"}, {"key": "2-mold-templates"}]}`), backlog.Version)
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"lid", "receiver", "", ""} {
		if o := p.Operations[i]; o.Part != want {
			t.Errorf("%q is an operation of part %q, want %q", o.Key, o.Part, want)
		}
	}
}

// Steps of a routing come out as the operations that they were.
func TestOperationsRoundTrip(t *testing.T) {
	steps, err := routing.Build(routing.Work{Parts: []routing.Part{{Name: "lid", Panels: 2, Outlines: 1, Layers: 2, FaceArea: 0.4, Pieces: 2, StageMasses: []float64{1}, EdgeLength: 1.7}},
		Quantity: 2, CureHours: 16, SealCoats: 1, WaxCoats: 2, ReleaseCoats: 1}, shop.Example().Profile)
	if err != nil {
		t.Fatal(err)
	}
	for _, registered := range []map[string]string{nil, {"lid": "7"}} {
		chosen := routing.Reuse(steps, registered)
		p := backlog.Plan{Operations: backlog.Operations(chosen, func(k string) string { return k })}
		j, _, err := p.Unfinished("job", nil, floor(t))
		if err != nil {
			t.Fatal(err)
		}
		want := routing.Job("job", chosen)
		for i := range want.Operations {
			a, b := want.Operations[i], j.Operations[i]
			if len(a.After) == 0 && len(b.After) == 0 {
				a.After, b.After = nil, nil
			}
			if !reflect.DeepEqual(a, b) {
				t.Errorf("%+v came back as %+v", a, b)
			}
		}
	}
}

// Learned factors by hand: with a prior of weight 4 at factor 1, n reports of twice
// the estimate give exp(n ln 2 / (4 + n)); A. Gelman et al., Bayesian Data Analysis,
// 3rd ed., sec. 3.3 (from memory).
func TestLearn(t *testing.T) {
	p := shop.Example().Profile
	for n := range 9 {
		var list []backlog.Observation
		for range n {
			list = append(list, backlog.Observation{Kind: "trim", Estimate: 1.5, Actual: 3})
		}
		list = append(list, backlog.Observation{Kind: "trim", Estimate: 1, Actual: 1000}, backlog.Observation{Kind: "trim", Estimate: 1, Actual: math.Inf(1)})
		m, learned, refused, err := backlog.Learn(p, list)
		if err != nil || refused != 2 {
			t.Fatal(refused, err)
		}
		want := math.Exp(float64(n) * math.Ln2 / float64(4+n))
		if got := m.Kinds["trim"].Factor; math.Abs(got-want) > 1e-12 || learned["trim"].Observations != n {
			t.Errorf("after %d reports of twice the estimate: %v, want %v; %d counted", n, got, want, learned["trim"].Observations)
		}
		if m.Kinds["fair"] != learned["fair"].Prior && math.Abs(m.Kinds["fair"].Sigma-learned["fair"].Prior.Sigma) > 1e-12 {
			t.Errorf("nothing was reported of fairing, and it plans with %+v, not %+v", m.Kinds["fair"], learned["fair"].Prior)
		}
	}
	if _, learned, _, err := backlog.Learn(p, []backlog.Observation{{Kind: "polish", Estimate: 1, Actual: 1}}); err != nil || learned["polish"].Observations != 1 {
		t.Errorf("a kind without a rate: %+v, %v", learned["polish"], err)
	}
}

func ExamplePlan_Unfinished() {
	c, err := routing.Calendar(shop.Example().Profile)
	if err != nil {
		fmt.Println(err)
		return
	}
	j, _, err := lid().Unfinished("order 7", []backlog.Report{finished("gelcoat", 4, 3)}, backlog.Floor{Now: now, Calendar: c})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(keys(j), j.Holds)
	// Output:
	// glass laminate demold trim [order 7 m]
}
