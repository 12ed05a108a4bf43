package schedule

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Rounding is the most by which a duration in a schedule may exceed the one
// asked for: schedules are in whole seconds, durations are rounded up.
const Rounding = time.Second

// ErrInfeasible is a schedule that breaks a rule.
var ErrInfeasible = errors.New("schedule is not feasible")

// Verify checks a schedule against the jobs and centers it is for, from the
// instants alone and with nothing of the way they were found: every operation
// there once; predecessors, releases and materials before the start; labor
// exactly inside the shifts, stopping only at their ends, and not there when it
// must not be broken off; waits by the clock;
// never more operations at a center than posts, nor two at one post; one part
// in a mold, held ones from the origin on. All breaches are joined, each an
// ErrInfeasible.
func Verify(jobs []Job, centers []Center, s Schedule) error {
	var errs []error
	bad := func(format string, a ...any) {
		errs = append(errs, fmt.Errorf("%w: "+format, append([]any{ErrInfeasible}, a...)...))
	}
	byKey := map[string]Center{}
	for _, c := range centers {
		byKey[c.Key] = c
	}
	placed := map[[2]string]Placement{}
	for _, p := range s.Placements {
		k := [2]string{p.Job, p.Operation}
		if _, twice := placed[k]; twice {
			bad("%v is placed twice", k)
		}
		placed[k] = p
	}
	type span struct {
		from, to time.Time
		name     string
		post     int
	}
	posts, molds := map[string][]span{}, map[string][]span{}
	total := 0
	for _, j := range jobs {
		stays := map[string]*span{}
		for _, o := range j.Operations {
			total++
			p, ok := placed[[2]string{j.Key, o.Key}]
			if !ok {
				bad("job %s operation %s is missing", j.Key, o.Key)
				continue
			}
			name := j.Key + "/" + o.Key
			if p.Start.Before(s.Origin) || (!o.Started && !j.Release.IsZero() && p.Start.Before(j.Release)) {
				bad("%s starts %v, before the origin or its release", name, p.Start)
			}
			if o.MaterialReady != nil && !o.Started && p.Start.Before(*o.MaterialReady) {
				bad("%s starts %v, before its material at %v", name, p.Start, *o.MaterialReady)
			}
			for _, key := range o.After {
				if q, ok := placed[[2]string{j.Key, key}]; ok && p.Start.Before(q.End) {
					bad("%s starts %v, before %s ends %v", name, p.Start, key, q.End)
				}
			}
			if w := p.End.Sub(p.LaborEnd); w < o.Wait || w >= o.Wait+Rounding {
				bad("%s waits %v, not %v", name, w, o.Wait)
			}
			if o.Labor == 0 {
				if !p.LaborEnd.Equal(p.Start) {
					bad("%s has no labor and takes %v", name, p.LaborEnd.Sub(p.Start))
				}
			} else if c, ok := byKey[o.WorkCenter]; !ok {
				bad("%s is at unknown center %q", name, o.WorkCenter)
			} else {
				if w := c.Calendar.WorkBetween(p.Start, p.LaborEnd); w < o.Labor || w >= o.Labor+Rounding {
					bad("%s works %v, not %v", name, w, o.Labor)
				}
				if n := c.Calendar.Next(p.Start); !n.Equal(p.Start) {
					bad("%s starts at %v out of hours", name, p.Start)
				}
				if o.Unbroken && !o.Started {
					if err := unbroken(c.Calendar, s.Origin, p, o.Labor); err != nil {
						bad("%s %v", name, err)
					}
				}
				if p.Post < 0 || p.Post >= c.Posts {
					bad("%s is at post %d of %d", name, p.Post, c.Posts)
				}
				posts[o.WorkCenter] = append(posts[o.WorkCenter], span{p.Start, p.LaborEnd, name, p.Post})
			}
			if o.Mold != "" {
				k := stays[o.Mold]
				if k == nil {
					k = &span{from: p.Start, to: p.End, name: j.Key}
					stays[o.Mold] = k
				}
				if p.Start.Before(k.from) {
					k.from = p.Start
				}
				if p.End.After(k.to) {
					k.to = p.End
				}
			}
		}
		for m, k := range stays {
			if slices.Contains(j.held(), m) {
				k.from = s.Origin
			}
			if k.to.After(k.from) { // a stay of no length is none
				molds[m] = append(molds[m], *k)
			}
		}
	}
	if total != len(s.Placements) {
		bad("%d placements for %d operations", len(s.Placements), total)
	}
	for _, m := range sortedKeys(molds) {
		k := molds[m]
		slices.SortFunc(k, func(a, b span) int {
			return cmp.Or(a.from.Compare(b.from), a.to.Compare(b.to), cmp.Compare(a.name, b.name))
		})
		for i := 1; i < len(k); i++ {
			if k[i].from.Before(k[i-1].to) {
				bad("mold %s holds %s until %v and %s from %v", m, k[i-1].name, k[i-1].to, k[i].name, k[i].from)
			}
		}
	}
	for _, key := range sortedKeys(posts) {
		// Sweep starts and ends by time, ends first.
		type event struct {
			at   time.Time
			step int
		}
		var events []event
		last := map[int]span{}
		k := posts[key]
		slices.SortFunc(k, func(a, b span) int { return cmp.Or(a.from.Compare(b.from), cmp.Compare(a.name, b.name)) })
		for _, x := range k {
			events = append(events, event{x.from, 1}, event{x.to, -1})
			if l, ok := last[x.post]; ok && x.from.Before(l.to) {
				bad("center %s post %d has %s until %v and %s from %v", key, x.post, l.name, l.to, x.name, x.from)
			}
			last[x.post] = x
		}
		slices.SortFunc(events, func(a, b event) int { return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.step, b.step)) })
		busy := 0
		for _, e := range events {
			if busy += e.step; busy > byKey[key].Posts {
				bad("center %s has %d operations at %v for %d posts", key, busy, e.at, byKey[key].Posts)
			}
		}
	}
	return errors.Join(errs...)
}

// unbroken tells how labor that must not be broken off is.
func unbroken(c *Calendar, origin time.Time, p Placement, labor time.Duration) error {
	if labor > c.LongestRun() {
		before := p.Start.Add(-MaxPause - Rounding)
		if before.Before(origin) {
			before = origin // what came before it is not the schedule's
		}
		if c.WorkBetween(before, p.Start) > 0 {
			return fmt.Errorf("takes %v, more than any run of shifts, and starts %v in the middle of one", labor, p.Start)
		}
		return nil
	}
	open, err := c.Openings(p.Start, p.LaborEnd)
	if err != nil {
		return err
	}
	for i := 1; i < len(open); i++ {
		if pause := open[i].Start.Sub(open[i-1].End); pause > MaxPause {
			return fmt.Errorf("is broken off at %v for %v", open[i-1].End, pause)
		}
	}
	return nil
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
