package schedule

import (
	"cmp"
	"slices"
	"time"
)

// Cause names what time on the critical chain went to, or what an operation
// waited for.
type Cause string

// The causes. The key beside each in a Share is in brackets.
const (
	CauseLabor       Cause = "labor"       // work, nights within it included [work center]
	CauseWait        Cause = "wait"        // gel, cure, drying by the clock [operation kind]
	CauseQueue       Cause = "queue"       // waiting for a free post [work center]
	CauseClosed      Cause = "closed"      // waiting for a shift to open [work center]
	CauseMaterial    Cause = "material"    // waiting for material [operation]
	CauseMold        Cause = "mold"        // waiting for a mold in use [mold]
	CauseRelease     Cause = "release"     // not to begin earlier [job]
	CausePredecessor Cause = "predecessor" // of a Placement only
)

// Share is time of the critical chain by what it went to.
type Share struct {
	Cause Cause
	Key   string
	Time  time.Duration
}

// Critical is the chain of operations that decided a job's end: the last to
// end, what it waited for, and so on back to the origin. The shares add up to
// the time from the origin to the end. Driver is the largest share of what a
// shop can change: closed hours count only when there is nothing else.
type Critical struct {
	Path   []string // operation keys, first to last
	Shares []Share  // longest first
	Driver Share
}

// chain walks back from the step that ends last, of equal ends the latest in
// placement order, and calls visit for each step on it.
func chain(slots []slot, visit func(i int)) {
	if len(slots) == 0 {
		return
	}
	last := 0
	for i := range slots {
		if slots[i].end >= slots[last].end {
			last = i
		}
	}
	for i := int32(last); i >= 0; i = slots[i].from {
		visit(int(i))
	}
}

// spent is time by cause, in the order of causes, seconds.
type spent [len(causes)]int64

var causes = [...]Cause{CauseLabor, CauseWait, CauseQueue, CauseClosed, CauseMaterial, CauseMold, CauseRelease}

// The places of the causes in spent.
const (
	onLabor = iota
	onWait
	onQueue
	onClosed
	onMaterial
	onMold
	onRelease
)

// bill adds where the time of a step on the chain went since the one before it
// on the chain ended. Material, a mold and a release decide by themselves when
// they are there: the chain begins with them, at the origin.
//
//	        ready      opens    start   laborEnd  end
//	material--|--closed--|--queue--|==labor==|~wait~|
func (s *spent) bill(sl *slot, a *axis) {
	switch sl.from {
	case fromRelease:
		s[onRelease] += int64(sl.ready)
	case fromMaterial:
		s[onMaterial] += int64(sl.ready)
	case fromMold:
		s[onMold] += int64(sl.ready)
	}
	if sl.post >= 0 {
		opens := sl.start
		if sl.start > sl.ready {
			opens = min(a.begin(sl.asked), sl.start)
		}
		s[onClosed] += int64(opens - sl.ready)
		s[onQueue] += int64(sl.start - opens)
		s[onLabor] += int64(sl.laborEnd - sl.start)
	}
	s[onWait] += int64(sl.end - sl.laborEnd)
}

func critical(axes []*axis, j *Job, r *route, slots []slot) Critical {
	var c Critical
	sum := map[Share]int64{}
	chain(slots, func(i int) {
		o := &j.Operations[r.steps[i].operation]
		c.Path = append(c.Path, o.Key)
		var a *axis
		if slots[i].post >= 0 {
			a = axes[r.steps[i].center]
		}
		var s spent
		s.bill(&slots[i], a)
		for k, t := range s {
			if t > 0 {
				sum[Share{Cause: causes[k], Key: causeKey(causes[k], j, o)}] += t
			}
		}
	})
	slices.Reverse(c.Path)
	for s, t := range sum {
		s.Time = time.Duration(t) * time.Second
		c.Shares = append(c.Shares, s)
	}
	sortShares(c.Shares)
	c.Driver = driver(c.Shares)
	return c
}

// sortShares puts the longest first, equal ones by cause and key.
func sortShares(s []Share) {
	slices.SortFunc(s, func(a, b Share) int {
		return cmp.Or(cmp.Compare(b.Time, a.Time), cmp.Compare(a.Cause, b.Cause), cmp.Compare(a.Key, b.Key))
	})
}

func driver(sorted []Share) Share {
	for _, s := range sorted {
		if s.Cause != CauseClosed {
			return s
		}
	}
	if len(sorted) > 0 {
		return sorted[0]
	}
	return Share{}
}

// causeKey is the key of a share of an operation's time.
func causeKey(c Cause, j *Job, o *Operation) string {
	switch c {
	case CauseLabor, CauseQueue, CauseClosed:
		return o.WorkCenter
	case CauseWait:
		return o.Kind
	case CauseMaterial:
		return o.Key
	case CauseMold:
		return o.Mold
	default:
		return j.Key
	}
}
