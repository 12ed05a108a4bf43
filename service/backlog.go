package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// floor is what the service keeps in memory of the shop's open work. The zero floor
// is ready.
type floor struct {
	backlog atomic.Pointer[Backlog]
	poked   bell // rung when something changed that writes no event
	changes atomic.Int64

	mu    sync.Mutex // one refresh at a time
	plans map[uuid.UUID]backlog.Plan
	// observed are the operations of orders in work that were kept as observations.
	observed map[uuid.UUID]map[string]bool

	keeping  sync.Mutex               // one round of KeepPromises at a time
	foreseen map[uuid.UUID]*foresight // of open orders; under keeping

	emptyMu sync.Mutex
	empty   *Backlog // a shop with nothing to do, for the engine it was made of
}

// Backlog is the shop's open work as last worked out, for reading only.
type Backlog struct {
	// Version names what it was worked out from: it changes when that does.
	Version string
	MadeAt  time.Time // nothing starts before it
	Orders  int       // open orders in it
	// Left are orders that could not be scheduled, with why: they take no capacity.
	Left map[string]string

	engine   *derivation.Engine
	jobs     []schedule.Job
	orders   map[string]record.Order
	held     map[string]bool // orders on hold, which are not in it
	waits    map[string][]MaterialWait
	plan     schedule.Schedule // by the estimates, learned factors included
	search   schedule.Improvement
	profiles *schedule.Profiles
	model    schedule.Model
	learned  map[string]backlog.Learned
	refused  int
	coverage schedule.Coverage
	needs    []orderNeed
	shelf    shelf
}

// Operations is the number of operations that are left to do.
func (b *Backlog) Operations() int { return len(b.plan.Placements) }

// orderNeed is material that an open order still takes.
type orderNeed struct {
	order, material string
	amount          stockroom.Amount // not reserved and not used yet
	on              schedule.Date    // the day on which its operation begins
}

// Limits of what is looked at.
const (
	// observationWindow is how many reports the learned factors rest on: the last
	// ones, since crews and rates change (shop rule).
	observationWindow = 20_000
	// outcomeWindow is how many finished orders the coverage is counted over.
	outcomeWindow = 10_000
	// mostLeftOut is how many orders are left out of the schedule before it is given
	// up: so many point to the profile and not to them.
	mostLeftOut = 100
)

// backlogAge is how old a backlog may become while nothing changes: its work would
// otherwise stand still while the clock goes on.
const backlogAge = 15 * time.Minute

// backlogRest is the least time between two refreshes, so that a burst of orders is
// one refresh.
const backlogRest = time.Second

// KeepBacklog works the backlog out whenever it changes, and holds the promises
// against it, until ctx ends: the one worker that samples the shop's future. Requests
// only read what it has made.
func (s *Service) KeepBacklog(ctx context.Context) {
	kept := true // the last round of promises went through
	for {
		events, pokes := s.bell.wait(), s.floor.poked.wait()
		changed, err := s.RefreshBacklog(ctx)
		if err != nil && ctx.Err() == nil {
			s.log.ErrorContext(ctx, "the backlog could not be worked out; the one before stays", "error", err)
		}
		if err == nil && (changed || !kept) {
			kept = s.KeepPromises(ctx) == nil // it logs each order's fault
		}
		if !rest(ctx, backlogRest) {
			return
		}
		timer := time.NewTimer(backlogPoll)
		select {
		case <-ctx.Done():
			timer.Stop()
			return
		case <-events:
		case <-pokes:
		case <-timer.C: // another process may have written
		}
		timer.Stop()
	}
}

// backlogPoll is how often the store is asked whether another process wrote: one
// small query.
const backlogPoll = 5 * time.Second

func rest(ctx context.Context, d time.Duration) bool {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return false
	case <-timer.C:
		return true
	}
}

// poke tells the worker that something changed which writes no event: stock, molds,
// the shop's documents.
func (s *Service) poke() {
	s.floor.changes.Add(1)
	s.floor.poked.ring()
}

// KeptBacklog is the backlog as last worked out; nil when none has been.
func (s *Service) KeptBacklog() *Backlog { return s.floor.backlog.Load() }

// RefreshBacklog works the backlog out anew when something has changed since, or it
// has become old, and tells whether it did. It plans orders that are new, learns
// from what the floor has finished, and samples the profiles.
func (s *Service) RefreshBacklog(ctx context.Context) (changed bool, err error) {
	s.floor.mu.Lock()
	defer s.floor.mu.Unlock()
	if err := s.follow(ctx); err != nil {
		return false, err
	}
	e, err := s.derivations()
	if err != nil {
		return false, err
	}
	last, err := s.store.Events().Last(ctx)
	if err != nil {
		return false, storeFault(err, "backlog")
	}
	revision := e.Documents().Revision
	version := fmt.Sprintf("%d-%s-%d", last, revision.Catalog, s.floor.changes.Load())
	now := s.now()
	before := s.floor.backlog.Load()
	if before != nil && before.Version == version && before.engine == e && now.Sub(before.MadeAt) < backlogAge && !now.Before(before.MadeAt) {
		return false, nil
	}
	b, err := s.workOut(ctx, e, before, now)
	if err != nil {
		return false, storeFault(err, "backlog")
	}
	b.Version = version
	s.floor.backlog.Store(b)
	return true, nil
}

// follow takes on the shop's documents when another process has put newer ones.
func (s *Service) follow(ctx context.Context) error {
	now := s.documents.Load()
	if _, err := s.derivations(); err != nil || now == nil {
		return err
	}
	var versions [3]int
	for i, kind := range documentOrder {
		d, err := s.store.ShopDocuments().Latest(ctx, kind)
		if err != nil {
			return storeFault(err, kind)
		}
		versions[i] = d.Version
	}
	if now.latest == versions {
		return nil
	}
	return s.LoadDocuments(ctx)
}

// workOut reads what there is and samples its future.
func (s *Service) workOut(ctx context.Context, e *derivation.Engine, before *Backlog, now time.Time) (*Backlog, error) {
	b := &Backlog{MadeAt: now, engine: e, orders: map[string]record.Order{}, held: map[string]bool{}, waits: map[string][]MaterialWait{}, Left: map[string]string{}}
	open, err := s.openOrders(ctx)
	if err != nil {
		return nil, err
	}
	plans, err := s.plansOf(ctx, e, open, before, now)
	if err != nil {
		return nil, err
	}
	if err := s.learn(ctx, e, b); err != nil {
		return nil, err
	}
	reserved, err := s.store.Stock().Reservations(ctx, store.ShopScope(), nil)
	if err != nil {
		return nil, err
	}
	if b.shelf, err = s.readShelf(ctx, e, now); err != nil {
		return nil, err
	}
	if err := s.jobsOf(ctx, b, open, plans, now); err != nil {
		return nil, err
	}
	materials := b.await(plans, reserved)
	if err := b.sample(now); err != nil {
		return nil, err
	}
	b.date(materials)
	return b, nil
}

// openOrders lists the orders that still take work, or whose end is not noted yet.
func (s *Service) openOrders(ctx context.Context) ([]record.Order, error) {
	var out []record.Order
	for _, state := range []record.OrderState{record.OrderReceived, record.OrderScheduled, record.OrderInWork, record.OrderOnHold, record.OrderReady} {
		page := store.Page{Limit: store.MaxLimit}
		for {
			list, err := s.store.Orders().List(ctx, store.ShopScope(), store.OrderFilter{State: state}, page)
			if err != nil {
				return nil, err
			}
			out = append(out, list.Items...)
			if page.Cursor = list.NextCursor; page.Cursor == "" {
				break
			}
		}
	}
	slices.SortFunc(out, func(a, b record.Order) int { return slices.Compare(a.ID[:], b.ID[:]) })
	// An order that moved from one state to the next between two pages is there twice.
	return slices.CompactFunc(out, func(a, b record.Order) bool { return a.ID == b.ID }), nil
}

// plansOf returns the plan of each open order: the one kept, or one made now and
// kept. Orders whose end is to be noted are finished here.
func (s *Service) plansOf(ctx context.Context, e *derivation.Engine, open []record.Order, before *Backlog, now time.Time) (map[uuid.UUID]backlog.Plan, error) {
	kept, err := s.store.Plans().Open(ctx, store.ShopScope())
	if err != nil {
		return nil, err
	}
	known := s.floor.plans
	plans := make(map[uuid.UUID]backlog.Plan, len(kept))
	byID := make(map[uuid.UUID]record.Order, len(open))
	for _, o := range open {
		byID[o.ID] = o
	}
	for _, k := range kept {
		p, ok := known[k.OrderID]
		if !ok {
			if p, err = backlog.Read(k.Body, k.SchemaVersion); err != nil {
				return nil, fmt.Errorf("order %v: %w", k.OrderID, err)
			}
		}
		plans[k.OrderID] = p
		o, isOpen := byID[k.OrderID]
		if !isOpen {
			if o, err = s.store.Orders().Get(ctx, store.ShopScope(), k.OrderID); err != nil {
				return nil, err
			}
		}
		switch o.State {
		case record.OrderInWork, record.OrderReady, record.OrderShipped:
			if err := s.observe(ctx, o, p); err != nil {
				return nil, err
			}
		default:
		}
	}
	for _, o := range open {
		if _, planned := plans[o.ID]; planned || o.State == record.OrderReady {
			continue
		}
		p, err := s.planOrder(ctx, e, o, before, now)
		if err != nil {
			return nil, fmt.Errorf("plan order %v: %w", o.ID, err)
		}
		plans[o.ID] = p
	}
	s.floor.plans = plans
	return plans, nil
}

// planOrder makes and keeps the plan of an order that has none: one that was placed
// before plans were kept with the order itself.
func (s *Service) planOrder(ctx context.Context, e *derivation.Engine, o record.Order, before *Backlog, now time.Time) (backlog.Plan, error) {
	q, err := s.store.Quotes().Get(ctx, store.ShopScope(), o.QuoteID)
	if err != nil {
		return backlog.Plan{}, err
	}
	p, err := s.planQuote(ctx, e, q, now)
	if err != nil {
		return p, err
	}
	kept, err := s.orderPlan(ctx, e, o.ID, p, before, now)
	if err != nil {
		return p, err
	}
	err = s.store.Plans().Put(ctx, store.ShopScope(), kept)
	if errors.Is(err, store.ErrConflict) { // another process was faster: its plan holds
		k, err := s.store.Plans().Get(ctx, store.ShopScope(), o.ID)
		if err != nil {
			return p, err
		}
		return backlog.Read(k.Body, k.SchemaVersion)
	}
	return p, err
}

// planQuote is the work of a quote's lines.
func (s *Service) planQuote(ctx context.Context, e *derivation.Engine, q record.Quote, now time.Time) (p backlog.Plan, err error) {
	for i, line := range q.Lines {
		operations, needs, err := s.planLine(ctx, e, line, i+1, now)
		if err != nil {
			if ctx.Err() != nil || errors.Is(err, store.ErrUnavailable) {
				return p, err
			}
			// Rules may have changed since the quote: what was quoted is done one
			// after the other.
			s.log.WarnContext(ctx, "a quote's line cannot be worked out any more; its operations are planned in a row", "quote", q.ID, "line", i+1, "error", err)
			operations, needs = inARow(line.Operations), nil
		}
		p.Operations, p.Needs = append(p.Operations, operations...), append(p.Needs, needs...)
	}
	return p, nil
}

// orderPlan is the plan of an order as it is kept, with the percentiles of its end
// behind what was open before it.
func (s *Service) orderPlan(ctx context.Context, e *derivation.Engine, id uuid.UUID, p backlog.Plan, before *Backlog, now time.Time) (record.OrderPlan, error) {
	body, err := json.Marshal(p)
	if err != nil {
		return record.OrderPlan{}, err
	}
	kept := record.OrderPlan{OrderID: id, SchemaVersion: backlog.Version, Body: body, PlannedAt: now}
	if before == nil || before.engine != e {
		return kept, nil
	}
	job, _, err := p.Unfinished(id.String(), nil, backlog.Floor{Now: now, Calendar: e.Calendar(), Model: before.model})
	if err == nil {
		var l schedule.LeadTime
		if l, err = before.placeWhile(ctx, job, now, sha256.Sum256(id[:])); err == nil {
			kept.P50, kept.P80, kept.P95 = &l.P50, &l.P80, &l.P95
		}
	}
	if err != nil {
		if ctx.Err() != nil {
			return kept, ctx.Err()
		}
		s.log.WarnContext(ctx, "no percentiles could be given for an order", "order", id, "error", err)
	}
	return kept, nil
}

// errChanged: a line comes out otherwise than it was quoted.
var errChanged = errors.New("the operations are others than were quoted")

// planLine works a line out again for its graph, with the hours that were quoted.
func (s *Service) planLine(ctx context.Context, e *derivation.Engine, line record.QuoteLine, number int, now time.Time) ([]backlog.Operation, []backlog.Need, error) {
	kept, err := s.store.Configurations().Get(ctx, store.ShopScope(), line.ConfigurationID)
	if err != nil {
		return nil, nil, err
	}
	request, err := s.wire.Decode(kept.Completed)
	if err != nil {
		return nil, nil, err
	}
	request = request.With("/quantity")
	request.Configuration.Quantity = float64(line.Quantity)
	result, err := deriveWhile(ctx, e, request, "", now)
	if err != nil {
		return nil, nil, err
	}
	name := func(key string) string { return operationKey(number, key) }
	quoted := make(map[string]record.Operation, len(line.Operations))
	for _, o := range line.Operations {
		quoted[o.Key] = o
	}
	// Molds that the quote does not build were there when it was made.
	there := map[string]bool{}
	for _, step := range result.LeadTime.Steps {
		if _, builds := quoted[name(step.Key)]; step.Mold && step.Part != "" && !builds {
			there[step.Part] = true
		}
	}
	registered := registeredIn(line)
	for part := range registered {
		delete(there, part)
	}
	if len(there) > 0 { // a quote that did not note which
		exact, err := s.exactMolds(ctx, store.ShopScope(), result, nil)
		if err != nil {
			return nil, nil, err
		}
		for part := range there {
			registered[part] = exact[part].ID.String() // none any more: the nil id, one mold all the same
		}
	}
	steps := routing.Reuse(result.LeadTime.Steps, registered)
	if len(steps) != len(quoted) {
		return nil, nil, errChanged
	}
	operations := backlog.Operations(steps, name)
	for i := range operations {
		o := &operations[i]
		as, ok := quoted[o.Key]
		if !ok {
			return nil, nil, errChanged
		}
		o.Hours, o.Crew = as.Hours, as.Crew
	}
	needs, err := needsOf(result, e.Documents(), registered)
	return operations, needs, err
}

// inARow is what can be said of operations without their graph: one after the other.
func inARow(list []record.Operation) []backlog.Operation {
	out := make([]backlog.Operation, len(list))
	for i, o := range list {
		out[i] = backlog.Operation{Key: o.Key, Kind: o.Kind, Part: o.Part, Center: o.Center, Hours: o.Hours, Crew: o.Crew}
		if i > 0 {
			out[i].After = []string{list[i-1].Key}
		}
	}
	return out
}

// observe keeps what the floor has finished of an order as observations, and notes
// the end of the order.
func (s *Service) observe(ctx context.Context, o record.Order, p backlog.Plan) error {
	reports, err := s.store.Orders().Operations(ctx, store.ShopScope(), o.ID)
	if err != nil {
		return err
	}
	byKey := make(map[string]backlog.Operation, len(p.Operations))
	for _, k := range p.Operations {
		byKey[k.Key] = k
	}
	var end time.Time
	var fresh []record.Observation
	for _, r := range reports {
		k, known := byKey[r.Operation]
		if !known || r.FinishedAt == nil {
			continue
		}
		if r.FinishedAt.After(end) {
			end = *r.FinishedAt
		}
		if r.Hours == nil {
			continue // nothing to learn from
		}
		// Plan and report are person-hours; the crew is the same for both.
		seen := record.Observation{OrderID: o.ID, Operation: r.Operation, Kind: k.Kind, Estimate: k.Hours * float64(max(1, k.Crew)), Actual: *r.Hours, FinishedAt: *r.FinishedAt}
		if store.CheckObservation(seen) == nil && !s.floor.observed[o.ID][r.Operation] {
			fresh = append(fresh, seen)
		}
	}
	if len(fresh) > 0 {
		err := s.store.InTx(ctx, func(tx store.Tx) error {
			for _, seen := range fresh {
				if _, err := tx.Plans().Observe(ctx, store.ShopScope(), seen); err != nil {
					return err
				}
			}
			return nil
		})
		if err != nil {
			return err
		}
		if s.floor.observed == nil {
			s.floor.observed = map[uuid.UUID]map[string]bool{}
		}
		if s.floor.observed[o.ID] == nil {
			s.floor.observed[o.ID] = map[string]bool{}
		}
		for _, seen := range fresh {
			s.floor.observed[o.ID][seen.Operation] = true
		}
	}
	if o.State == record.OrderInWork || end.IsZero() {
		return nil
	}
	delete(s.floor.observed, o.ID)
	return s.store.Plans().Finish(ctx, store.ShopScope(), record.OrderPlan{OrderID: o.ID, FinishedAt: &end})
}

// learn reads observations and outcomes.
func (s *Service) learn(ctx context.Context, e *derivation.Engine, b *Backlog) error {
	list, err := s.store.Plans().Observations(ctx, store.ShopScope(), observationWindow)
	if err != nil {
		return err
	}
	observations := make([]backlog.Observation, len(list))
	for i, o := range list {
		observations[i] = backlog.Observation{Kind: o.Kind, Estimate: o.Estimate, Actual: o.Actual}
	}
	if b.model, b.learned, b.refused, err = backlog.Learn(e.Documents().Profile, observations); err != nil {
		return err
	}
	outcomes, err := s.store.Plans().Outcomes(ctx, store.ShopScope(), outcomeWindow)
	if err != nil {
		return err
	}
	for _, o := range outcomes {
		b.coverage = b.coverage.Observe(schedule.Percentiles{P50: *o.P50, P80: *o.P80, P95: *o.P95}, *o.FinishedAt)
	}
	return nil
}

// jobsOf makes the jobs of the orders that work goes on at. An order on hold takes
// no capacity until it is released.
func (s *Service) jobsOf(ctx context.Context, b *Backlog, open []record.Order, plans map[uuid.UUID]backlog.Plan, now time.Time) error {
	f := backlog.Floor{Now: now, Calendar: b.engine.Calendar(), Model: b.model}
	for _, o := range open {
		if o.State == record.OrderOnHold || o.State == record.OrderReady {
			b.held[o.ID.String()] = o.State == record.OrderOnHold
			continue
		}
		var reports []backlog.Report
		if o.State == record.OrderInWork {
			list, err := s.store.Orders().Operations(ctx, store.ShopScope(), o.ID)
			if err != nil {
				return err
			}
			for _, r := range list {
				reports = append(reports, backlog.Report{Operation: r.Operation, Started: r.StartedAt, Finished: r.FinishedAt})
			}
		}
		key := o.ID.String()
		job, left, err := plans[o.ID].Unfinished(key, reports, f)
		if err != nil {
			b.Left[key] = err.Error()
			continue
		}
		if !left {
			continue
		}
		job.Accepted, job.Weight = o.CreatedAt, hatches(plans[o.ID])
		if d, err := schedule.ParseDate(o.Promise); err == nil {
			job.Promised = d.AddDays(1).At(0, f.Calendar.Location())
		}
		b.orders[key] = o
		b.jobs = append(b.jobs, job)
	}
	return nil
}

// sample schedules the jobs by estimate and in every scenario. A job that cannot be
// scheduled is left out and named.
func (b *Backlog) sample(now time.Time) error {
	b.share()
	b.Orders = len(b.jobs)
	centers := b.engine.Centers()
	for tries := 0; ; tries++ {
		search, err := schedule.Improve(b.expected(), centers, now, PlanSchedules(b.jobs), planSeed)
		if err == nil {
			b.search, b.plan = search, search.Schedule
			break
		}
		key := culprit(err)
		i := slices.IndexFunc(b.jobs, func(j schedule.Job) bool { return j.Key == key })
		if i < 0 || tries >= mostLeftOut {
			return err
		}
		b.Left[key] = err.Error()
		b.jobs = slices.Delete(b.jobs, i, i+1)
	}
	b.Orders = len(b.jobs)
	return b.foresee(now)
}

// expected are the jobs with the learned factors in their labor: what the plan is
// drawn by.
func (b *Backlog) expected() []schedule.Job {
	out := make([]schedule.Job, len(b.jobs))
	for k, j := range b.jobs {
		j.Operations = slices.Clone(j.Operations)
		for i := range j.Operations {
			o := &j.Operations[i]
			if s, ok := b.model.Kinds[o.Kind]; ok {
				o.Labor = time.Duration(float64(o.Labor) * s.Factor).Round(time.Second)
			}
		}
		out[k] = j
	}
	return out
}

// share settles who is in a mold that two orders are recorded to be in: the one
// accepted first; the other's records are taken not to need it.
func (b *Backlog) share() {
	order := make([]int, len(b.jobs))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return b.jobs[x].Accepted.Compare(b.jobs[y].Accepted) })
	holder := map[string]string{}
	for _, k := range order {
		j := &b.jobs[k]
		held := slices.Clone(j.Holds)
		for _, o := range j.Operations {
			if o.Started && o.Mold != "" {
				held = append(held, o.Mold)
			}
		}
		for _, m := range held {
			if other, taken := holder[m]; !taken || other == j.Key {
				holder[m] = j.Key
				continue
			}
			j.Holds = slices.DeleteFunc(slices.Clone(j.Holds), func(h string) bool { return h == m })
			for i := range j.Operations {
				if j.Operations[i].Mold == m {
					j.Operations[i].Mold = ""
				}
			}
		}
	}
}

// culprit is the job that an error of the schedule names.
func culprit(err error) string {
	var o *schedule.OperationError
	var c *schedule.CycleError
	switch {
	case errors.As(err, &o):
		return o.Job
	case errors.As(err, &c):
		return c.Job
	}
	return ""
}

// backlogSeed is always the same, and so are the draws of each operation: from one
// backlog to the next dates move by what happened, not by luck.
var backlogSeed = sha256.Sum256([]byte("hatchwright backlog"))

// idle is the backlog of a shop with nothing to do, for requests that come before
// the worker has made one.
func (s *Service) idle(e *derivation.Engine, now time.Time) (*Backlog, error) {
	s.floor.emptyMu.Lock()
	defer s.floor.emptyMu.Unlock()
	if b := s.floor.empty; b != nil && b.engine == e && !now.Before(b.MadeAt) && now.Sub(b.MadeAt) < backlogAge {
		return b, nil
	}
	b, err := emptyBacklog(e, now)
	if err == nil {
		s.floor.empty = b
	}
	return b, err
}

func emptyBacklog(e *derivation.Engine, now time.Time) (*Backlog, error) {
	b := &Backlog{MadeAt: now, engine: e}
	var err error
	if b.model, b.learned, _, err = backlog.Learn(e.Documents().Profile, nil); err != nil {
		return nil, err
	}
	return b, b.sample(now)
}
