package schedule_test

import (
	"errors"
	"math"
	"reflect"
	"testing"
	"time"

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
	if r.Before != 6.5 || r.Tardiness != 4 || r.LowerBound != 0 || r.Generated != 50 || r.Status != schedule.BudgetReached {
		t.Errorf("before %v, after %v, bound %v, %d generated, %s", r.Before, r.Tardiness, r.LowerBound, r.Generated, r.Status)
	}
	if err := schedule.Verify(jobs, centers, r.Schedule); err != nil {
		t.Error(err)
	}
	// b counts three times: now b a c is 3*0 + 4 + 3.5, b c a 0 + 5, c b a the same, a
	// c b 3*4, a b c 3*3 + 3.5, c a b 1 + 3*4. The best is 5.
	jobs[1].Weight = 3
	if r, err = schedule.Improve(jobs, centers, origin, 50, 1); err != nil || r.Before != 12.5 || r.Tardiness != 5 {
		t.Errorf("weighted: before %v, after %v, %v", r.Before, r.Tardiness, err)
	}
	// All in time from the start: nothing to search.
	jobs[1].Promised, jobs[2].Promised = origin.Add(8*hour), origin.Add(9*hour)
	if r, err = schedule.Improve(jobs, centers, origin, 50, 1); err != nil || r.Status != schedule.Optimal || r.Generated != 1 {
		t.Errorf("%s after %d, %v", r.Status, r.Generated, err)
	}
}

// tardiness by the schedule alone: weighted hours late, and the end of all work.
func tardiness(jobs []schedule.Job, s schedule.Schedule) (late float64, end time.Time) {
	for k, f := range s.Jobs {
		late += float64(max(1, jobs[k].Weight)) * f.Late.Hours()
		if f.End.After(end) {
			end = f.End
		}
	}
	return late, end
}

// Never worse than the priority order by weighted tardiness, then by the end of all
// work; feasible, repeatable, within budget; what has started stays where it is.
func TestImprove(t *testing.T) {
	better, started := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		jobs, centers, from := drawShop(rt, t)
		for k := range jobs {
			jobs[k].Weight = rapid.IntRange(0, 4).Draw(rt, "weight")
		}
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
		serial, err := schedule.Serial(jobs, centers, from, nil)
		if err != nil {
			rt.Fatal(err)
		}
		late, end := tardiness(jobs, r.Schedule)
		lateBefore, endBefore := tardiness(jobs, serial)
		if late > lateBefore || late == lateBefore && end.After(endBefore) {
			rt.Fatalf("%v h late until %v, by priority %v h until %v", late, end, lateBefore, endBefore)
		}
		if math.Abs(late-r.Tardiness) > 1e-6 || math.Abs(lateBefore-r.Before) > 1e-6 || r.Tardiness < r.LowerBound || r.Generated > 30 {
			rt.Fatalf("before %v of %v, after %v of %v, bound %v, %d generated", r.Before, lateBefore, r.Tardiness, late, r.LowerBound, r.Generated)
		}
		if (r.Status == schedule.Optimal) != (r.Tardiness == r.LowerBound) {
			rt.Fatalf("%s at %v with the bound %v", r.Status, r.Tardiness, r.LowerBound)
		}
		at := 0
		for k := range jobs {
			for i := range jobs[k].Operations {
				if p, q := r.Schedule.Placements[at], serial.Placements[at]; jobs[k].Operations[i].Started {
					started++
					if p != q {
						rt.Fatalf("begun work is moved from %+v to %+v", q, p)
					}
				}
				at++
			}
		}
		if again, err := schedule.Serial(jobs, centers, from, r.Order); err != nil || !reflect.DeepEqual(again, r.Schedule) {
			rt.Fatalf("the order gives another schedule: %v", err)
		}
		if r.Tardiness < r.Before {
			better++
		}
		if again, err := schedule.Improve(jobs, centers, from, 30, 5); err != nil || !reflect.DeepEqual(r, again) {
			rt.Fatalf("second run differs: %v", err)
		}
	})
	if better == 0 || started == 0 {
		t.Errorf("%d draws were improved, %d operations had started", better, started)
	}
}
