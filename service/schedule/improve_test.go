package schedule_test

import (
	"errors"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"hatchwright/service/schedule"
)

// By hand, one post: a 4 h due at 4 h, b 4 h due at 5 h, c 1 h due at 5.5 h. In
// the order of promises a is in time, b 3 h late, c 3.5 h: 6.5 h. The others:
// a c b 4, c a b 1 + 4, b a c 4 + 3.5, b c a 5, c b a 5. The best is 4.
func TestImproveByHand(t *testing.T) {
	job := func(key string, labor, due float64) schedule.Job {
		l, err := schedule.Hours(labor)
		if err != nil {
			t.Fatal(err)
		}
		d, err := schedule.Hours(due)
		if err != nil {
			t.Fatal(err)
		}
		return schedule.Job{Key: key, Promised: origin.Add(d), Operations: []schedule.Operation{op("work", "A", l, 0)}}
	}
	jobs := []schedule.Job{job("a", 4, 4), job("b", 4, 5), job("c", 1, 5.5)}
	centers := []schedule.Center{always(t, "A", 1)}
	r, err := schedule.Improve(jobs, centers, origin, 50, 1)
	if err != nil {
		t.Fatal(err)
	}
	if r.Before != 6*hour+30*minute || r.Tardiness != 4*hour || r.LowerBound != 0 || r.Generated != 50 || r.Status != schedule.BudgetReached {
		t.Errorf("before %v, after %v, bound %v, %d generated, %s", r.Before, r.Tardiness, r.LowerBound, r.Generated, r.Status)
	}
	if err := schedule.Verify(jobs, centers, r.Schedule); err != nil {
		t.Error(err)
	}
	// All in time from the start: nothing to search.
	jobs[1].Promised, jobs[2].Promised = origin.Add(8*hour), origin.Add(9*hour)
	if r, err = schedule.Improve(jobs, centers, origin, 50, 1); err != nil || r.Status != schedule.Optimal || r.Generated != 1 {
		t.Errorf("%s after %d, %v", r.Status, r.Generated, err)
	}
}

// Never worse than the priority order, feasible, repeatable, within budget.
func TestImprove(t *testing.T) {
	better := 0
	rapid.Check(t, func(rt *rapid.T) {
		jobs, centers, from := drawShop(rt, t)
		r, err := schedule.Improve(jobs, centers, from, 30, 5)
		if errors.Is(err, schedule.ErrMoldDeadlock) {
			return
		}
		if err != nil {
			rt.Fatal(err)
		}
		if err := schedule.Verify(jobs, centers, r.Schedule); err != nil {
			rt.Fatal(err)
		}
		if r.Tardiness > r.Before || r.Tardiness < r.LowerBound || r.Generated > 30 {
			rt.Fatalf("before %v, after %v, bound %v, %d generated", r.Before, r.Tardiness, r.LowerBound, r.Generated)
		}
		if r.Tardiness < r.Before {
			better++
		}
		if again, err := schedule.Improve(jobs, centers, from, 30, 5); err != nil || !reflect.DeepEqual(r, again) {
			rt.Fatalf("second run differs: %v", err)
		}
	})
	if better == 0 {
		t.Error("no draw was improved")
	}
}
