package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/store"
)

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
			operations, needs = backlog.InARow(line.Operations), nil
		}
		p.Operations, p.Needs = append(p.Operations, operations...), append(p.Needs, needs...)
	}
	return p, nil
}

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
	name := func(key string) string { return backlog.OperationKey(number, key) }
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
	needs, err := backlog.NeedsOf(result, e.Documents(), registered)
	return operations, needs, err
}

// errChanged: a line comes out otherwise than it was quoted.
var errChanged = errors.New("the operations are others than were quoted")

// orderPlan is the plan of an order as it is kept, with the percentiles of its end
// behind what was open before it.
func (s *Service) orderPlan(ctx context.Context, e *derivation.Engine, id uuid.UUID, p backlog.Plan, before *backlog.Backlog, now time.Time) (record.OrderPlan, error) {
	body, err := json.Marshal(p)
	if err != nil {
		return record.OrderPlan{}, err
	}
	kept := record.OrderPlan{OrderID: id, SchemaVersion: backlog.Version, Body: body, PlannedAt: now}
	if before == nil || before.Engine != e {
		return kept, nil
	}
	job, _, err := p.Unfinished(id.String(), nil, backlog.Floor{Now: now, Calendar: e.Calendar(), Model: before.Model})
	if err == nil {
		var l schedule.LeadTime
		if l, err = before.Profiles.PlaceWhile(job, now, sha256.Sum256(id[:]), going(ctx)); err == nil {
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
