package service

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/order"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
	"hatchwright/store"
)

// quoteVersion is the layout of the lines that are kept with a quote; earlier ones
// are read too, with nothing in what they lack.
//
//	1  price, date and operations
//	2  and the registered molds and the stock that the quote counts on
const quoteVersion = 2

// NewQuote is a quote to make.
type NewQuote struct {
	Lines      []NewQuoteLine
	Reference  string
	ValidUntil *time.Time // nil: as long as quotes hold
	DealerID   *uuid.UUID // the shop may name one; a dealer only itself
	// Revises names an open order that an order of this quote will replace.
	Revises *uuid.UUID
}

// NewQuoteLine is one configuration of a quote: a kept one by its id, or one to be
// kept with the quote.
type NewQuoteLine struct {
	ConfigurationID *uuid.UUID
	Configuration   *NewConfiguration // its DealerID is not looked at
	Quantity        int               // 0: the configuration's own
}

// MakeQuote works the configurations out anew, with the shop's present documents
// and as if work started now, and freezes prices and date. The error is a
// *NotMakeableError when one of them cannot be made as the rules are now.
//
// A storefront makes none: a quote is kept, and anybody can read its key.
func (s *Service) MakeQuote(ctx context.Context, c Caller, n NewQuote, claim *Claim) (Made[record.Quote], error) {
	if err := c.Need(record.RoleDealer); err != nil {
		return Made[record.Quote]{}, err
	}
	if err := s.needOwnDocuments(); err != nil {
		return Made[record.Quote]{}, err
	}
	owner, err := c.owner(n.DealerID)
	if err != nil {
		return Made[record.Quote]{}, err
	}
	now := s.now()
	until, err := order.ValidUntil(now, n.ValidUntil, c.Role)
	if err != nil {
		return Made[record.Quote]{}, badField("/valid_until", "out_of_range", sentence(err))
	}
	if len(n.Lines) == 0 || len(n.Lines) > order.MaxLines {
		return Made[record.Quote]{}, badField("/lines", "count", fmt.Sprintf("A quote has 1 to %d lines.", order.MaxLines))
	}
	return change(ctx, s, c, claim, "quote", func() (write[record.Quote], error) {
		q, fresh, err := s.quoteRecord(ctx, c, n, owner, now)
		if err != nil {
			return nil, err
		}
		q.ValidUntil = until
		return func(ctx context.Context, tx store.Registers) (record.Quote, error) {
			counts := []store.Counted{store.CountQuotes}
			if len(fresh) > 0 {
				counts = append(counts, store.CountConfigurations)
			}
			if err := s.allow(ctx, tx, c, counts...); err != nil {
				return record.Quote{}, err
			}
			if n.Revises != nil {
				if err := revisable(ctx, tx, c, *n.Revises, owner); err != nil {
					return record.Quote{}, err
				}
			}
			for _, k := range fresh {
				if err := tx.Configurations().Insert(ctx, c.Scope(), k); err != nil {
					if errors.Is(err, store.ErrNotFound) {
						err = s.missingOwner(ctx, tx, c, k, err)
					}
					return record.Quote{}, err
				}
			}
			if err := tx.Quotes().Insert(ctx, c.Scope(), q); err != nil {
				if errors.Is(err, store.ErrNotFound) {
					err = unknownDealer(err)
				}
				return record.Quote{}, err
			}
			if err := s.emit(ctx, tx, c, pendingEvent{order.QuoteMade, order.AboutQuote(q)}); err != nil {
				return record.Quote{}, err
			}
			return q, nil
		}, nil
	})
}

// revisable says whether an order may be replaced: it is there, of the same owner,
// and the caller could cancel it.
func revisable(ctx context.Context, tx store.Registers, c Caller, id uuid.UUID, owner *uuid.UUID) error {
	o, err := tx.Orders().Get(ctx, c.Scope(), id)
	if err == nil && !sameOwner(o.DealerID, owner) {
		err = store.ErrNotFound
	}
	if errors.Is(err, store.ErrNotFound) {
		e := fault.Wrap(fault.NotFound, err, "There is no order to revise by that id.")
		e.Fields = []fault.Field{{Pointer: "/revises", Code: "unknown", Message: "Give the id of an order of the same owner, or leave it out."}}
		return e
	}
	if err != nil {
		return err
	}
	_, err = order.Find(order.Cancel, o, c.Role)
	return err
}

// quoteRecord derives every line and puts the quote together, with the
// configurations that are to be kept with it.
func (s *Service) quoteRecord(ctx context.Context, c Caller, n NewQuote, owner *uuid.UUID, now time.Time) (record.Quote, []record.Configuration, error) {
	e, err := s.derivations()
	if err != nil {
		return record.Quote{}, nil, err
	}
	id, err := s.newID()
	if err != nil {
		return record.Quote{}, nil, err
	}
	q := record.Quote{ID: id, DealerID: owner, State: record.QuoteOpen, Version: 1, Reference: n.Reference, Revises: n.Revises,
		CreatedAt: now, UpdatedAt: now, CreatedBy: c.actor(), SchemaVersion: quoteVersion}
	revision := e.Documents().Revision
	q.Revision = record.Revision{Engine: revision.Engine, Catalog: revision.Catalog, PriceBook: revision.PriceBook}
	var fresh []record.Configuration
	var prices []money.Amount
	var needs [][]backlog.Need
	var leads []*LeadTime
	var digests []string
	counted := map[uuid.UUID]int{}
	lines, requests, err := s.linesOf(ctx, c, n, owner)
	if err != nil {
		return q, nil, err
	}
	if err := fewEnough(e, requests); err != nil {
		return q, nil, err
	}
	leave, err := s.gate.turn(ctx, c, e, 1, requests...)
	if err != nil {
		return q, nil, err
	}
	defer leave()
	for i, l := range n.Lines {
		line, request := lines[i], requests[i]
		where := "" // a kept configuration is not in the body
		if l.Configuration != nil {
			where = fmt.Sprintf("/lines/%d/configuration", i)
		}
		result, err := deriveWhile(ctx, e, request, where, now)
		if err != nil {
			return q, nil, err
		}
		due, err := s.leadTime(ctx, e, ownerScope(owner), result, now, LeadTimeOptions{Near: true, counted: counted})
		if err != nil {
			return q, nil, err
		}
		if l.Configuration != nil {
			whole := *l.Configuration
			if whole.Requested == nil {
				whole.Requested = json.RawMessage("{}")
			}
			kept, err := s.configurationRecord(derived(result, due), whole, owner)
			if err != nil {
				return q, nil, err
			}
			fresh = append(fresh, kept)
			line.ConfigurationID = kept.ID
		}
		fillLine(&line, i+1, result, due)
		if !line.Totals.Price.Value.IsPos() {
			return q, nil, worthless(fmt.Sprintf("/lines/%d", i), line.Totals.Price)
		}
		for _, m := range due.Molds {
			counted[m.ID] += line.Quantity
		}
		leads, digests = append(leads, due), append(digests, result.Digest)
		takes, err := backlog.NeedsOf(result, e.Documents(), registeredIn(line))
		if err != nil {
			return q, nil, err
		}
		needs = append(needs, takes)
		prices = append(prices, line.Totals.Price)
		q.Lines = append(q.Lines, line)
		q.Promise = order.LatestDate(q.Promise, line.Promise)
	}
	if err := s.promiseTogether(ctx, e, &q, leads, digests, now); err != nil {
		return q, nil, err
	}
	if q.Total, err = money.Sum(prices[0].Currency, prices...); err != nil {
		return q, nil, fmt.Errorf("total of a quote: %w", err)
	}
	if !q.Total.Value.IsPos() {
		return q, nil, worthless("/lines", q.Total)
	}
	if err := s.countOn(ctx, &q, needs); err != nil {
		return q, nil, err
	}
	return q, fresh, nil
}

// linesOf finds what the lines of a quote ask for, before any of it is worked out.
func (s *Service) linesOf(ctx context.Context, c Caller, n NewQuote, owner *uuid.UUID) (lines []record.QuoteLine, requests []part.Request, err error) {
	for i, l := range n.Lines {
		at := fmt.Sprintf("/lines/%d", i)
		line := record.QuoteLine{Quantity: l.Quantity}
		var request part.Request
		switch {
		case (l.ConfigurationID == nil) == (l.Configuration == nil):
			return nil, nil, badField(at, "one_of", "Give either configuration_id or configuration.")
		case l.ConfigurationID != nil:
			kept, err := s.store.Configurations().Get(ctx, c.Scope(), *l.ConfigurationID)
			if err == nil && !sameOwner(kept.DealerID, owner) {
				err = store.ErrNotFound
			}
			if errors.Is(err, store.ErrNotFound) {
				e := fault.Wrap(fault.NotFound, err, "There is no such configuration.")
				e.Fields = []fault.Field{{Pointer: at + "/configuration_id", Code: "unknown", Message: "Give the id of a kept configuration of the quote's owner."}}
				return nil, nil, e
			}
			if err != nil {
				return nil, nil, err
			}
			if request, err = s.wire.Decode(kept.Completed); err != nil {
				return nil, nil, fmt.Errorf("read kept configuration %v: %w", kept.ID, err)
			}
			line.ConfigurationID, line.Name = kept.ID, kept.Name
		default:
			request, line.Name = l.Configuration.Request, l.Configuration.Name
		}
		if l.Quantity != 0 {
			request = request.With(quantityAt)
			request.Configuration.Quantity = float64(l.Quantity)
		}
		if p := part.At(quantityAt); l.Quantity != 0 && (float64(l.Quantity) < p.Min || float64(l.Quantity) > p.Max) {
			return nil, nil, badField(at+quantityAt, "out_of_range", fmt.Sprintf("A quantity is %g to %g.", p.Min, p.Max))
		}
		lines, requests = append(lines, line), append(requests, request)
	}
	return lines, requests, nil
}

// fewEnough refuses a quote of more pieces than are worked out for one request.
func fewEnough(e *derivation.Engine, requests []part.Request) error {
	pieces := 0
	for _, r := range requests {
		pieces += piecesAsked(e, r)
	}
	if pieces > order.MaxPieces {
		return badField("/lines", "too_many_pieces", fmt.Sprintf("The lines are %d pieces in all, and a quote has 1 to %d: make several quotes of it.", pieces, order.MaxPieces))
	}
	return nil
}

// promiseTogether promises a quote of several lines for when all of it is done as one
// order, and each line for then: the others are made beside it.
func (s *Service) promiseTogether(ctx context.Context, e *derivation.Engine, q *record.Quote, leads []*LeadTime, digests []string, now time.Time) error {
	operations := 0
	for _, l := range leads {
		operations += len(l.Steps)
	}
	if len(leads) < 2 {
		return nil
	}
	if operations > schedule.MaxOperations {
		return badField("/lines", "too_much_work", fmt.Sprintf("The work on this quote is %d operations, and an order has %d at most: make several quotes of it.", operations, schedule.MaxOperations))
	}
	b, _, err := s.presentFor(e)
	if err != nil {
		return err
	}
	days, err := b.Together(leads, digests, now, going(ctx))
	if err != nil {
		return leadTimeFault(ctx, err)
	}
	q.Promise = order.LatestDate(q.Promise, days[1].String())
	for i := range q.Lines {
		l := &q.Lines[i]
		l.Promise = q.Promise
		l.LeadTime.P50, l.LeadTime.P80, l.LeadTime.P95 = days[0].String(), days[1].String(), days[2].String()
	}
	return nil
}

// fillLine copies what a derivation says of price, date and operations.
func fillLine(l *record.QuoteLine, number int, r *derivation.Result, due *LeadTime) {
	t := due.Bill.Totals
	l.LeadTime = &record.QuoteLeadTime{P50: due.P50On.String(), P80: due.P80On.String(), P95: due.P95On.String(),
		Backlog: due.Backlog.Version, AsOf: due.Backlog.MadeAt, Orders: due.Backlog.Orders, Operations: due.Backlog.Operations,
		Scenarios: due.Backlog.Scenarios, Stale: due.Backlog.Stale, Molds: backlog.KeptMolds(due.Molds)}
	for i := range due.Near {
		l.LeadTime.Near = append(l.LeadTime.Near, due.Near[i].Kept())
	}
	l.Digest, l.Quantity, l.Promise, l.WorkingHours = r.Digest, int(r.Configuration.Quantity), due.Promise.String(), due.WorkingHours
	for part, m := range due.Molds {
		if l.Molds == nil {
			l.Molds = map[string]uuid.UUID{}
		}
		l.Molds[part] = m.ID
	}
	l.Totals = record.PriceTotals{Material: t.Material, Labor: t.Labor, Overhead: t.Overhead, Mold: t.Mold, Margin: t.Margin,
		Discount: t.Discount, PriceEach: t.PriceEach, Price: t.Price}
	for _, step := range due.Steps {
		l.Operations = append(l.Operations, record.Operation{Key: backlog.OperationKey(number, step.Key), Kind: step.Kind, Part: step.Part, Center: step.WorkCenter,
			Hours: step.Hours, Crew: step.Crew})
	}
}
