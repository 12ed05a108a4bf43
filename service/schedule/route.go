package schedule

import (
	"fmt"
	"slices"
	"time"
)

// route is a job compiled for placing: operations in placement order, times in
// seconds.
type route struct {
	key     string
	release int32
	steps   []step
	molds   []int // numbers of the molds it uses
	holds   []bool
	started bool
	pins    []pin // by step, for those started; set when a board is begun
}

// pin is the place of a step in progress.
type pin struct{ work, post int32 }

type step struct {
	operation   int // index in the job
	center      int // -1: waiting only
	labor, wait int32
	ready       int32
	mold        int     // index in route.molds, or -1
	after       []int32 // predecessors
	risk        float64
	started     bool
	unbroken    bool
	follow      int32 // what waits for it begins so soon, or 0
	followed    bool  // by a step
	follows     int32 // the step that this one must follow so soon, or -1
	riskLabor   int32
	riskWait    int32
}

// clock is an instant as seconds since the origin, no less than zero.
func clock(origin, t time.Time) (int32, error) {
	s := wholeSecond(t).Unix() - origin.Unix()
	if s > maxSeconds {
		return 0, fmt.Errorf("%w: %v is over %d years ahead", ErrNothingOpens, t, HorizonYears)
	}
	return int32(max(0, s)), nil
}

// compileRoute numbers a job's molds by mold, everything else by the shop.
func compileRoute(j *Job, s *shop, origin time.Time, mold func(string) int) (*route, error) {
	order, preds, err := topology(j)
	if err != nil {
		return nil, err
	}
	r := &route{key: j.Key, steps: make([]step, len(order))}
	if !j.Release.IsZero() {
		if r.release, err = clock(origin, j.Release); err != nil {
			return nil, fmt.Errorf("job %q release: %w", j.Key, err)
		}
	}
	position := make([]int, len(order))
	for at, i := range order {
		position[i] = at
	}
	local := map[string]int{}
	number := func(key string, holds bool) int {
		k, ok := local[key]
		if !ok {
			k = len(r.molds)
			local[key] = k
			r.molds, r.holds = append(r.molds, mold(key)), append(r.holds, false)
		}
		r.holds[k] = r.holds[k] || holds
		return k
	}
	for _, key := range j.Holds {
		number(key, true)
	}
	var labor, wait int64
	for at, i := range order {
		o := &j.Operations[i]
		refuse := func(err error, detail string) error {
			return &OperationError{Job: j.Key, Operation: o.Key, Err: err, Detail: detail}
		}
		st := step{operation: i, center: -1, mold: -1, follows: -1}
		for _, f := range []struct {
			name string
			from time.Duration
			to   *int32
		}{{"labor", o.Labor, &st.labor}, {"wait", o.Wait, &st.wait}, {"risk labor", o.RiskLabor, &st.riskLabor}, {"risk wait", o.RiskWait, &st.riskWait}, {"follow", o.Follow, &st.follow}} {
			if *f.to, err = seconds(f.from); err != nil {
				return nil, refuse(err, f.name)
			}
		}
		if !(o.Risk >= 0 && o.Risk <= 1) {
			return nil, refuse(ErrRisk, fmt.Sprintf("%v", o.Risk))
		}
		st.risk, st.unbroken = o.Risk, o.Unbroken
		labor, wait = labor+int64(st.labor)+int64(st.riskLabor), wait+int64(st.wait)+int64(st.riskWait)
		if st.started = o.Started; o.Started {
			if len(o.After) > 0 {
				return nil, refuse(ErrStartedEarly, fmt.Sprintf("it still waits for %q", o.After))
			}
			r.started = true
		}
		if o.WorkCenter != "" {
			c, ok := s.centers[o.WorkCenter]
			if !ok {
				return nil, refuse(ErrUnknownCenter, fmt.Sprintf("%q", o.WorkCenter))
			}
			st.center = c
		} else if o.Labor > 0 || o.RiskLabor > 0 {
			return nil, refuse(ErrLaborNowhere, "name a work center or make it a wait")
		}
		if o.MaterialReady != nil {
			if st.ready, err = clock(origin, *o.MaterialReady); err != nil {
				return nil, refuse(err, "material ready")
			}
		}
		if o.Mold != "" {
			st.mold = number(o.Mold, o.Started)
		}
		for _, p := range preds[i] {
			st.after = append(st.after, int32(position[p]))
		}
		slices.Sort(st.after)
		for _, k := range st.after {
			if before := &r.steps[k]; before.follow > 0 && !before.followed && before.center >= 0 && !before.started {
				before.followed = true
				if st.follows < 0 {
					st.follows = k
				}
			}
		}
		r.steps[at] = st
	}
	if labor+wait > maxSeconds {
		return nil, fmt.Errorf("job %q: %w: its operations add up to over %d years", j.Key, ErrOutOfRange, HorizonYears)
	}
	return r, nil
}
