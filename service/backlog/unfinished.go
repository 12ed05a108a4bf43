package backlog

import (
	"slices"
	"time"

	"hatchwright/service/schedule"
)

// Report is what the floor has written down about an operation.
type Report struct {
	Operation string
	Started   time.Time
	Finished  *time.Time // nil: still at it
}

// Floor is what it takes to tell what is left.
type Floor struct {
	Now      time.Time
	Calendar *schedule.Calendar
	Model    schedule.Model
}

// Unfinished is what is left of an order as a job for the schedule. Operations done
// are gone; one that is being worked on has what is left by the model; one whose
// labor is done but whose waiting is not (gel, cure) waits for the rest by the
// clock. open is false when nothing is left.
//
//	done done | begun    | to come
//	==== ~~~~ | ===....  | ......
//	          now
//
// Error: hours of the plan that are none.
func (p Plan) Unfinished(job string, reports []Report, f Floor) (j schedule.Job, open bool, err error) {
	j.Key = job
	index := make(map[string]int, len(p.Operations))
	for i, o := range p.Operations {
		index[o.Key] = i
	}
	done := make([]bool, len(p.Operations))
	by := make([]*Report, len(p.Operations))
	var vouch func(i int)
	vouch = func(i int) {
		for _, a := range p.Operations[i].After {
			if k, ok := index[a]; ok && !done[k] {
				done[k] = true
				vouch(k)
			}
		}
	}
	for i := range reports {
		if k, ok := index[reports[i].Operation]; ok {
			by[k] = &reports[i]
			vouch(k)
		}
	}
	holds := map[string]bool{}
	for i, o := range p.Operations {
		s, err := o.operation(job)
		if err != nil {
			return j, false, err
		}
		switch r := by[i]; {
		case done[i] && (r == nil || r.Finished == nil):
			// Something after it was recorded: it is done.
		case r != nil && r.Finished != nil:
			left := r.Finished.Add(s.Wait).Sub(f.Now)
			if done[i] || left <= 0 {
				done[i] = true
				break
			}
			s.WorkCenter, s.Labor, s.Wait, s.Started = "", 0, left, true
			s.Risk, s.RiskLabor, s.RiskWait = 0, 0, 0
		case r != nil:
			spread, known := f.Model.Kinds[o.Kind]
			if !known {
				spread = f.Model.Default
			}
			s.Labor, s.Started = spread.Remaining(s.Labor, f.Calendar.WorkBetween(r.Started, f.Now)), true
		}
		if done[i] {
			if s.Mold != "" {
				holds[s.Mold] = true
			}
			continue
		}
		j.Operations = append(j.Operations, s)
	}
	for i := range j.Operations {
		o := &j.Operations[i]
		o.After = slices.DeleteFunc(slices.Clone(o.After), func(key string) bool { k, ok := index[key]; return !ok || done[k] })
		if o.Started {
			o.After = nil
		}
	}
	j.Holds = inMold(j, holds)
	return j, len(j.Operations) > 0, nil
}

// inMold are the molds that have a part of the order in them, or stand between two
// of its pulls: some operation in the mold is done and another is to come. One that
// is being worked on holds its mold by itself.
func inMold(j schedule.Job, begun map[string]bool) []string {
	var out []string
	for _, o := range j.Operations {
		if o.Mold != "" && begun[o.Mold] && !o.Started && !slices.Contains(out, o.Mold) {
			out = append(out, o.Mold)
		}
	}
	return out
}
