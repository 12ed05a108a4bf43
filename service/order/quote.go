package order

import (
	"fmt"
	"time"

	"hatchwright/service/record"
)

// How long quotes hold, shop rules.
const (
	// DefaultValidity is how long a quote holds when nobody says: material prices
	// and the backlog move within weeks.
	DefaultValidity = 14 * 24 * time.Hour
	// LongestValidity bounds what the shop may promise.
	LongestValidity = 90 * 24 * time.Hour
)

// MaxLines bounds a quote: more is several quotes.
const MaxLines = 50

// MaxPieces bounds the pieces of a quote's lines together, so that it is worked out well
// within the 15 s of a request: 500 take about a second of one core, and six on a core a
// fifth as fast. A single line, and a configuration, has 200 at most (part.Parameters).
const MaxPieces = 500

// ValidUntil is when a quote made now ends. Nobody may ask for a time that is
// past; only the shop for one beyond DefaultValidity.
func ValidUntil(now time.Time, asked *time.Time, role record.Role) (time.Time, error) {
	if asked == nil {
		return record.Moment(now.Add(DefaultValidity)), nil
	}
	longest := DefaultValidity
	if role == record.RoleShop {
		longest = LongestValidity
	}
	switch {
	case !asked.After(now):
		return time.Time{}, fmt.Errorf("the time is past: give one after now, or leave it out for %d days", DefaultValidity/(24*time.Hour))
	case asked.After(now.Add(longest)):
		return time.Time{}, fmt.Errorf("a quote of yours holds at most %d days: give an earlier time, or leave it out", longest/(24*time.Hour))
	}
	return record.Moment(*asked), nil
}

// StateAt is how a quote stands at t. An open quote expires by itself at
// ValidUntil.
func StateAt(q record.Quote, t time.Time) record.QuoteState {
	if q.State == record.QuoteOpen && !t.Before(q.ValidUntil) {
		return record.QuoteExpired
	}
	return q.State
}

// Open says whether something can still be done with a quote at t: order it, or
// withdraw it.
func Open(q record.Quote, t time.Time) error {
	switch StateAt(q, t) {
	case record.QuoteOpen:
		return nil
	case record.QuoteOrdered:
		return refuse(QuoteOrdered, "An order was placed from this quote already. Read the quote for its order; make a new quote for another one.")
	case record.QuoteWithdrawn:
		return refuse(QuoteWithdrawn, "This quote was withdrawn. Make a new one.")
	default:
		return refuse(QuoteExpired, fmt.Sprintf("This quote held until %s. Make a new one: price and date are worked out anew.", q.ValidUntil.Format(time.RFC3339)))
	}
}

// LatestDate is the latest of ISO dates, "" for none: the order is whole when its
// last line is.
func LatestDate(dates ...string) string {
	latest := ""
	for _, d := range dates {
		latest = max(latest, d) // ISO 8601 calendar dates of four-digit years sort as text
	}
	return latest
}
