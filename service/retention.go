package service

import (
	"fmt"
	"time"
)

// Retention is how long what is not kept for good is kept. The shop's documents, orders
// with their quotes and configurations, and the events of orders, which are their
// history, are never removed.
type Retention struct {
	Answers    time.Duration // of requests with an Idempotency-Key; the contract promises 24 h
	Events     time.Duration // for streams to resume from
	Deliveries time.Duration // after they were delivered; what is pending or parked stays
	Audit      time.Duration
	Unordered  time.Duration // quotes after they ended and configurations, while nobody orders from them
}

// LeastAnswers is what the contract promises of answers kept.
const LeastAnswers = 24 * time.Hour

// leastKept is the least that anything else is kept: longer than webhooks are
// retried by themselves, so that a receiver that was away finds what it missed.
const leastKept = 14 * 24 * time.Hour

const day = 24 * time.Hour

// DefaultRetention is generous: two days for answers, a year for what can be read
// again and for what nobody orders from, ten for who changed what (common practice for a business's books, no source).
func DefaultRetention() Retention {
	return Retention{Answers: 2 * day, Events: 365 * day, Deliveries: 365 * day, Audit: 3650 * day, Unordered: 365 * day}
}

// Check says whether the times can be held.
func (r Retention) Check() error {
	if r.Answers < LeastAnswers {
		return fmt.Errorf("answers are kept for 24h at least, which is promised; %v is less", r.Answers)
	}
	for _, k := range []struct {
		what string
		time time.Duration
	}{{"events", r.Events}, {"deliveries", r.Deliveries}, {"audit entries", r.Audit}, {"quotes and configurations that nobody ordered from", r.Unordered}} {
		if k.time < leastKept {
			return fmt.Errorf("%s are kept for %v at least; %v is less", k.what, leastKept, k.time)
		}
	}
	return nil
}
