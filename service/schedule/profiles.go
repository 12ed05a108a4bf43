package schedule

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"
)

// Scenarios is the default number of sampled availability profiles.
const Scenarios = 256

// MaxScenarios bounds the memory of profiles.
const MaxScenarios = 4096

// leastGap is the shortest stretch of a post a profile keeps free, seconds. A
// shorter one is counted as busy: profiles err to the late side by no more than
// an operation that short, and are far smaller.
const leastGap = 10 * 60

// Setup is what profiles are made from.
type Setup struct {
	Jobs    []Job // the backlog: every open order's unfinished operations
	Centers []Center
	Origin  time.Time // nothing starts before it
	Model   Model
	// Scenarios is the number of profiles, 0 for the default.
	Scenarios int
	Seed      [32]byte
	// Order is the order of serial generation in every scenario, nil for
	// PriorityOrder.
	Order []int
}

// Profiles are sampled futures of the shop under one backlog: for each, what
// every post and mold has left free once the backlog is done by serial
// generation with durations drawn from the model. They are made once per
// change of the backlog; after that they are read only and safe for concurrent
// use.
type Profiles struct {
	shop    *shop
	laws    *laws
	origin  time.Time
	years   int
	axes    []*axis     // by center
	longest int32       // last clock reading of the axes
	rows    [][][]row   // by center, by post, by scenario
	futures []future    // by scenario
	shared  [][]float64 // by scenario, see laws.shared
	ends    [][]int32   // by job, by scenario
	jobs    []string
}

// NewProfiles places the backlog once per scenario. Errors: those of Serial,
// and ErrDistribution.
func NewProfiles(s Setup) (*Profiles, error) {
	if err := s.Model.check(); err != nil {
		return nil, fmt.Errorf("profiles: %w", err)
	}
	n := s.Scenarios
	if n == 0 {
		n = Scenarios
	}
	if n < 1 || n > MaxScenarios {
		return nil, fmt.Errorf("profiles: %w: %d scenarios are not within 1 to %d", ErrDistribution, n, MaxScenarios)
	}
	if y := s.Origin.Year(); y < FirstYear || y > LastYear {
		return nil, fmt.Errorf("profiles: %w: origin %v", ErrOutOfRange, s.Origin)
	}
	origin := wholeSecond(s.Origin)
	sh, routes, err := compileJobs(s.Jobs, s.Centers, origin)
	if err != nil {
		return nil, fmt.Errorf("profiles: %w", err)
	}
	p := &Profiles{shop: sh, laws: newLaws(&s.Model), origin: origin}
	samplers := make([]sampler, len(routes))
	for k := range routes {
		samplers[k] = newSampler(&s.Jobs[k], routes[k], p.laws)
		p.jobs = append(p.jobs, s.Jobs[k].Key)
	}
	order := s.Order
	if order == nil {
		order = PriorityOrder(s.Jobs)
	} else if err := permutation(order, len(s.Jobs)); err != nil {
		return nil, fmt.Errorf("profiles: %w", err)
	}
	for _, years := range []int{sh.span(routes), HorizonYears} {
		if err = p.fill(routes, samplers, order, n, years, s.Seed); err == nil || !errors.Is(err, ErrNothingOpens) {
			break
		}
	}
	if err != nil {
		return nil, fmt.Errorf("profiles: %w", err)
	}
	return p, nil
}

// span guesses the years a backlog takes: four times the estimated load of the
// fullest center over its hours in a year, and five more.
func (s *shop) span(routes []*route) int {
	load := make([]int64, len(s.list))
	for _, r := range routes {
		for i := range r.steps {
			if c := r.steps[i].center; c >= 0 {
				load[c] += int64(r.steps[i].labor)
			}
		}
	}
	years := int64(5)
	for c, l := range load {
		k := s.list[c]
		week := int64(0)
		for _, day := range k.Calendar.shifts {
			for _, x := range day {
				week += int64((x.End - x.Start) / time.Second)
			}
		}
		years = max(years, 5+4*l/(52*week*int64(k.Posts)))
	}
	return int(min(years, HorizonYears))
}

func (p *Profiles) fill(routes []*route, samplers []sampler, order []int, n, years int, seed [32]byte) error {
	axes := p.shop.compileAxes(p.origin, years)
	p.years, p.axes, p.futures, p.shared = years, axes, make([]future, n), make([][]float64, n)
	p.rows = make([][][]row, len(axes))
	for c := range p.rows {
		for range p.shop.list[c].Posts {
			p.rows[c] = append(p.rows[c], make([]row, n))
		}
	}
	p.ends = make([][]int32, len(routes))
	durations := make([][]duration, len(routes))
	for k, r := range routes {
		durations[k] = make([]duration, len(r.steps))
		p.ends[k] = make([]int32, n)
	}
	root := streams(seed)
	var pl planner
	fresh := func() *board { return newBoard(p.shop, axes, p.origin, years, leastGap) }
	for s := range n {
		from := nextStream(root)
		p.shared[s] = from.shared(p.laws)
		for k := range routes {
			samplers[k].draw(from, p.shared[s], durations[k])
		}
		b, err := pl.placeAll(fresh, routes, order, durations, func(k int) error {
			end := int32(0)
			for i := range pl.slots {
				end = max(end, pl.slots[i].end)
			}
			p.ends[k][s] = end
			return nil
		})
		if err != nil {
			return fmt.Errorf("scenario %d: %w", s, err)
		}
		p.futures[s], p.longest = b.freeze(p.rows, s), b.longest
	}
	return nil
}

// Origin is the instant the profiles begin at.
func (p *Profiles) Origin() time.Time { return p.origin }

// Scenarios is the number of profiles.
func (p *Profiles) Scenarios() int { return len(p.futures) }

// Percentiles are the instants reported of a finish.
type Percentiles struct{ P50, P80, P95 time.Time }

// Backlog gives, for each job of the backlog in the order it came in, the
// percentiles of its finish.
func (p *Profiles) Backlog() []Percentiles {
	out := make([]Percentiles, len(p.ends))
	x := make([]float64, len(p.futures))
	for k, ends := range p.ends {
		for s, e := range ends {
			x[s] = float64(e)
		}
		slices.Sort(x)
		out[k] = p.percentiles(x)
	}
	return out
}

func (p *Profiles) percentiles(sorted []float64) Percentiles {
	return Percentiles{p.at(Percentile(sorted, 0.50)), p.at(Percentile(sorted, 0.80)), p.at(Percentile(sorted, 0.95))}
}

// at is an instant, rounded up to a whole second.
func (p *Profiles) at(s float64) time.Time {
	return p.origin.Add(time.Duration(ceiling(s)) * time.Second)
}

// Criticality is the share of scenarios in which an operation is on the chain
// that decides the finish, and the share in which what has to follow it so soon
// (Operation.Follow) begins later all the same: hours and queue never let it be.
type Criticality struct {
	Operation string
	Index     float64
	Late      float64
}

// LeadTime is the answer for one request.
//
// Percentile estimator: definition 7 of Hyndman and Fan; see Percentile.
type LeadTime struct {
	Percentiles
	// P80Error is the standard error of P80 that the number of scenarios
	// leaves.
	P80Error time.Duration
	// Criticality is by the order of the job's operations.
	Criticality []Criticality
	// Shares are the mean over the scenarios of where the time of the
	// critical chain went, longest first; Driver as in Critical.
	Shares []Share
	Driver Share
	// Finishes are the sampled finishes, ascending.
	Finishes []time.Time
}

// Place answers when a new job would be finished, behind the backlog, in every
// profile; the profiles stay as they are. The job's own durations are drawn
// from seed: the same request gives the same answer. It starts no earlier than
// start, its Release or the origin.
//
// Errors: *OperationError, *CycleError, ErrNothingOpens, ErrOutOfRange.
func (p *Profiles) Place(job Job, start time.Time, seed [32]byte) (LeadTime, error) {
	return p.PlaceWhile(job, start, seed, nil)
}

// PlaceWhile is Place as long as going says so: it is asked every few operations, and
// once it says no the error is ErrStopped. nil: always.
func (p *Profiles) PlaceWhile(job Job, start time.Time, seed [32]byte, going func() bool) (LeadTime, error) {
	r, err := p.compile(&job, start)
	if err != nil {
		return LeadTime{}, fmt.Errorf("lead time: %w", err)
	}
	l, err := p.place(&job, r, seed, relief{center: -1}, going)
	if err != nil {
		return LeadTime{}, fmt.Errorf("lead time: %w", err)
	}
	return l, nil
}

func (p *Profiles) compile(job *Job, start time.Time) (*route, error) {
	// Molds no job of the backlog uses get numbers past the boards' own.
	unknown := map[string]int{}
	r, err := compileRoute(job, p.shop, p.origin, func(key string) int {
		if i, ok := p.shop.molds[key]; ok {
			return i
		}
		if _, ok := unknown[key]; !ok {
			unknown[key] = len(p.shop.molds) + len(unknown)
		}
		return unknown[key]
	})
	if err != nil {
		return nil, err
	}
	for m := range r.holds {
		r.holds[m] = false // a new job holds nothing yet
	}
	for i := range r.steps {
		r.steps[i].started = false
	}
	from, err := clock(p.origin, start)
	if err != nil {
		return nil, fmt.Errorf("start: %w", err)
	}
	r.release = max(r.release, from)
	return r, nil
}

// relief is what a "what if" takes away: one more post at a center, the wait
// for material, or the wait for a mold.
type relief struct {
	center         int // -1 for none
	material, mold bool
}

// tally sums the time of one step on the critical chain by cause, and counts the
// scenarios in which it is on the chain and in which what follows comes late.
type tally struct {
	critical, late int
	time           spent
}

func (p *Profiles) place(job *Job, r *route, seed [32]byte, what relief, going func() bool) (LeadTime, error) {
	smp := newSampler(job, r, p.laws)
	n := len(r.steps)
	sums := make([]tally, n)
	finishes := make([]float64, len(p.futures))
	root := streams(seed)
	l := p.newLineup(r, what)
	l.going = going
	for first := 0; first < len(p.futures); first += side {
		l.draw(first, smp, root)
		if err := l.place(); err != nil {
			return LeadTime{}, fmt.Errorf("scenarios from %d on: %w", first, err)
		}
		for _, s := range l.all {
			finishes[first+int(s)] = float64(l.finish(s, sums))
		}
	}
	slices.Sort(finishes)
	answer := LeadTime{Percentiles: p.percentiles(finishes),
		P80Error: time.Duration(PercentileError(finishes, 0.80) * float64(time.Second)).Round(time.Second),
		Finishes: make([]time.Time, len(finishes)), Criticality: make([]Criticality, n)}
	for s, f := range finishes {
		answer.Finishes[s] = p.at(f)
	}
	for i := range r.steps {
		k := r.steps[i].operation
		answer.Criticality[k] = Criticality{job.Operations[k].Key, float64(sums[i].critical) / float64(len(p.futures)), float64(sums[i].late) / float64(len(p.futures))}
	}
	answer.Shares = shares(job, r, sums, len(p.futures))
	answer.Driver = driver(answer.Shares)
	return answer, nil
}

func shares(job *Job, r *route, sums []tally, scenarios int) []Share {
	total := map[Share]int64{}
	for i := range sums {
		o := &job.Operations[r.steps[i].operation]
		for c, t := range sums[i].time {
			if t > 0 {
				total[Share{Cause: causes[c], Key: causeKey(causes[c], job, o)}] += t
			}
		}
	}
	out := make([]Share, 0, len(total))
	for s, t := range total {
		s.Time = time.Duration(t/int64(scenarios)) * time.Second
		out = append(out, s)
	}
	sortShares(out)
	return out
}

// Relief is a change and what it would save.
type Relief struct {
	// Cause and Key say what is taken away: CauseQueue, by one more post at
	// the center; CauseMaterial, with all material there at once; CauseMold,
	// with a mold of its own.
	Cause Cause
	Key   string
	// Saves is by how much P80 comes earlier.
	Saves time.Duration
}

// Relieve tries what would shorten a request: each cause of waiting on its
// critical chain is taken away in turn and the request placed anew with the
// same draws. Most saving first; what saves nothing is left out. Each try
// costs about as much as Place; at most most causes are tried, longest first.
// Errors: those of Place, and ErrStopped once going says no; nil: always on.
func (p *Profiles) Relieve(job Job, start time.Time, seed [32]byte, most int, going func() bool) ([]Relief, error) {
	r, err := p.compile(&job, start)
	if err != nil {
		return nil, fmt.Errorf("relief: %w", err)
	}
	base, err := p.place(&job, r, seed, relief{center: -1}, going)
	if err != nil {
		return nil, fmt.Errorf("relief: %w", err)
	}
	var out []Relief
	seen := map[Cause]bool{}
	for _, s := range base.Shares {
		what := relief{center: -1}
		k := Relief{Cause: s.Cause, Key: s.Key}
		switch s.Cause {
		case CauseQueue:
			what.center = p.shop.centers[s.Key]
		case CauseMaterial:
			what.material = true
			k.Key = ""
		case CauseMold:
			what.mold = true
			k.Key = ""
		default:
			continue
		}
		if (s.Cause != CauseQueue && seen[s.Cause]) || most <= 0 {
			continue
		}
		seen[s.Cause] = true
		most--
		l, err := p.place(&job, r, seed, what, going)
		if err != nil {
			return nil, fmt.Errorf("relief: %w", err)
		}
		if k.Saves = base.P80.Sub(l.P80); k.Saves > 0 {
			out = append(out, k)
		}
	}
	slices.SortStableFunc(out, func(a, b Relief) int { return cmp.Compare(b.Saves, a.Saves) })
	return out, nil
}
