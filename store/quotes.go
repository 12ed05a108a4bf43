package store

import (
	"context"
	"regexp"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/money"
	"hatchwright/service/record"
)

// Quotes are prices and dates given, frozen.
type Quotes interface {
	// Insert adds a quote. ErrConflict when the id is taken; ErrNotFound when its
	// dealer, or the order it revises, does not exist or belongs to another owner.
	Insert(ctx context.Context, scope Scope, quote record.Quote) error

	// Get returns a quote with its lines.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Quote, error)

	// Update stores state, order, version and time of change of a quote; nothing
	// else of it changes. ErrStaleVersion unless the stored version is expected.
	// Of several callers at once with the same expected version exactly one
	// succeeds.
	Update(ctx context.Context, scope Scope, quote record.Quote, expected int) error

	// List lists quotes without their lines, newest first.
	List(ctx context.Context, scope Scope, filter QuoteFilter, page Page) (Listing[record.Quote], error)
}

// QuoteFilter narrows a list of quotes.
type QuoteFilter struct {
	DealerID *uuid.UUID
	// State is the state at At; At is needed for open and expired, which differ by
	// the time alone.
	State     record.QuoteState
	At        time.Time
	Reference string
}

// Place names a list for its cursors, see KeyFilter.Place. At is no part of it:
// it moves from page to page.
func (f QuoteFilter) Place(scope Scope) Place {
	return newPlace("quotes", scope, id(f.DealerID), string(f.State), f.Reference)
}

// CheckQuote says whether a quote can be stored.
func CheckQuote(q record.Quote) error {
	err := first(
		present("id", q.ID),
		text("reference", q.Reference, 0, maxText),
		text("engine revision", q.Revision.Engine, 0, maxText),
		text("catalog revision", q.Revision.Catalog, 0, maxText),
		text("price book revision", q.Revision.PriceBook, 0, maxText),
		day("promise", q.Promise, true),
		total(q.Total),
		actor(q.CreatedBy),
		when("end of validity", q.ValidUntil),
		when("creation time", q.CreatedAt),
		when("time of change", q.UpdatedAt),
	)
	switch {
	case err != nil:
		return err
	case q.State != record.QuoteOpen && q.State != record.QuoteOrdered && q.State != record.QuoteWithdrawn:
		return invalid("the state %q is none of open, ordered, withdrawn", q.State)
	case (q.State == record.QuoteOrdered) != (q.OrderID != nil):
		return invalid("a quote has an order exactly when it is ordered")
	case q.Version < 1:
		return invalid("the version %d is less than 1", q.Version)
	case q.SchemaVersion < 1:
		return invalid("the schema version %d is less than 1", q.SchemaVersion)
	}
	return nil
}

var isoDay = regexp.MustCompile(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`)

func day(what, s string, needed bool) error {
	if s == "" && !needed {
		return nil
	}
	if !isoDay.MatchString(s) {
		return invalid("the %s %q is no date like 2027-03-05", what, s)
	}
	return nil
}

func total(a money.Amount) error { return text("currency", a.Currency, 3, 3) }

func actor(a record.Actor) error {
	if a.Role != "" && !a.Role.Valid() {
		return invalid("the role %q is none of storefront, dealer, shop", a.Role)
	}
	return nil
}
