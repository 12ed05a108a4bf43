package service

import (
	"context"
	"fmt"
	"time"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// What a dealer's keys may create, all of them together: far beyond what a builder of
// boats asks of a small shop, and little enough that a key that got out of hand, or into
// other hands, does not fill the disk. The shop itself has no such limits.
const (
	// mostConfigurations and mostQuotes are those of the time for which they are kept when
	// nobody orders from them: 14 each a day for a year. A configuration takes some 15 KB.
	mostConfigurations = 5000
	mostQuotes         = 5000
	// mostOrders are those of ordersSpan: more hatches than a small shop makes in a year.
	mostOrders = 500
	ordersSpan = 30 * day
	// mostEndpoints bounds what one event is sent to.
	mostEndpoints = 50
	// mostChanges are the events of a day, each of which is kept as history, sent to every
	// endpoint and, for endpoints, entered into the audit list: one every 43 s.
	mostChanges = 2000
	// mostAnswers are the answers that are kept to be given again to an Idempotency-Key.
	mostAnswers = 5000
	// mostHolds is how many times an order has changed when a dealer may no longer put it on
	// hold: two changes each time, and each is history for good.
	mostHolds = 100
)

// allowance is a limit on what a dealer has.
type allowance struct {
	most  int
	what  string // "configurations kept"
	since time.Duration
	mend  string
}

func (s *Service) allowances() map[store.Counted]allowance {
	return map[store.Counted]allowance{
		store.CountConfigurations: {mostConfigurations, "configurations kept", s.keep.Unordered, "Those that nobody orders from are removed after their time"},
		store.CountQuotes:         {mostQuotes, "quotes made", s.keep.Unordered, "Those that nobody orders from are removed after their time; ask /v1/derive for prices that need not hold"},
		store.CountOrders:         {mostOrders, "orders placed", ordersSpan, "Wait, or have the shop place it"},
		store.CountWebhooks:       {mostEndpoints, "endpoints", 0, "Delete one that is no longer used"},
		store.CountChanges:        {mostChanges, "changes made", day, "Wait, or have the shop make it"},
		store.CountAnswers:        {mostAnswers, "answers kept for Idempotency-Keys", s.keep.Answers, "Wait, or send what need not be repeated without the header"},
	}
}

// allow refuses what would be more than a dealer's keys may create. It is the first thing
// in a transaction: from then on no other one of the same dealer counts until it ends, so
// that of many at once for the last place one gets it.
func (s *Service) allow(ctx context.Context, tx store.Registers, c Caller, what ...store.Counted) error {
	if c.Role != record.RoleDealer || c.DealerID == nil {
		return nil
	}
	dealer := *c.DealerID
	if err := tx.Allowances().Hold(ctx, c.Scope(), dealer); err != nil {
		return err
	}
	all, now := s.allowances(), s.now()
	for _, k := range append(what, store.CountChanges, store.CountAnswers) {
		a := all[k]
		if n, ok := s.fewer[k]; ok {
			a.most = n
		}
		n, earliest, err := tx.Allowances().Count(ctx, c.Scope(), dealer, k, now.Add(-a.since))
		if err != nil {
			return err
		}
		if n < a.most {
			continue
		}
		detail := fmt.Sprintf("This dealer has %d %s", n, a.what)
		if a.since > 0 {
			detail += fmt.Sprintf(" in the last %s", spell(a.since))
		}
		detail += fmt.Sprintf(", and %d is the most that its keys may have. %s.", a.most, a.mend)
		if !earliest.IsZero() {
			detail += fmt.Sprintf(" The earliest of them no longer counts from %s on.", order.Instant(earliest.Add(a.since)))
		}
		return &order.Refusal{Reason: order.AllowanceFull, Detail: detail}
	}
	return nil
}

// spell writes a span in whole days or hours.
func spell(d time.Duration) string {
	if d%day == 0 && d > day {
		return fmt.Sprintf("%d days", d/day)
	}
	return fmt.Sprintf("%d hours", d/time.Hour)
}
