package store

import (
	"context"
	"math"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Molds is the mold register. A scope covers the molds that its owner may have
// parts from: a dealer's own and those that are for everybody. Writing takes
// ShopScope.
type Molds interface {
	// Insert adds a mold. ErrConflict when the id, or the tag of a mold that is not
	// retired, is taken; ErrNotFound when its dealer or configuration is not there.
	Insert(ctx context.Context, scope Scope, mold record.Mold) error

	// Get returns a mold with its face.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Mold, error)

	// Update stores tag, pulls, state, location, note, version and time of change.
	// ErrStaleVersion unless the stored version is expected; of several callers at
	// once with the same one exactly one succeeds. ErrConflict as Insert.
	Update(ctx context.Context, scope Scope, mold record.Mold, expected int) error

	// Exact returns the molds with one of the fingerprints that are not retired and
	// have pulls left, with their faces, most pulls first.
	Exact(ctx context.Context, scope Scope, fingerprints []string) ([]record.Mold, error)

	// Near returns molds within the bounds that are not retired and have pulls left,
	// with their faces: the nearest in size first, at most limit. What comes back
	// may be near; package register says whether it is.
	Near(ctx context.Context, scope Scope, bounds MoldBounds, limit int) ([]record.Mold, error)

	// OfSets returns the molds of sets that are not retired and have pulls left,
	// with their faces, by set and part.
	OfSets(ctx context.Context, scope Scope, sets []string) ([]record.Mold, error)

	// Hold returns a mold, and how many of its pulls orders have reserved, and keeps
	// others from changing either until the transaction ends. It, and the methods
	// below, take ShopScope. Call it in a transaction, and molds in the order of their
	// ids.
	Hold(ctx context.Context, scope Scope, mold uuid.UUID) (record.Mold, int, error)

	// Reserve changes what an order has reserved of a mold, and what it has taken, by
	// the pulls given, which may be below 0. Call it in a transaction that holds the
	// mold. ErrNotFound when order or mold is not there; ErrInvalid when less than
	// nothing would be left: nothing is changed then.
	Reserve(ctx context.Context, scope Scope, change record.MoldReservation) error

	// Reservations returns what is reserved or was taken, of one order or of all
	// (nil), by order and mold.
	Reservations(ctx context.Context, scope Scope, order *uuid.UUID) ([]record.MoldReservation, error)

	// Reserved tells how many pulls of each of the molds are reserved; one with none
	// is not in the map.
	Reserved(ctx context.Context, scope Scope, molds []uuid.UUID) (map[uuid.UUID]int, error)

	// List lists molds with their faces, newest first.
	List(ctx context.Context, scope Scope, filter MoldFilter, page Page) (Listing[record.Mold], error)
}

// MoldBounds says where molds are looked for, sides in mm. Strips are the numbers
// of the strips of the long side that LongLeast to LongMost reaches into, rising.
type MoldBounds struct {
	Class                 string
	Strips                []int
	LongLeast, LongMost   float64
	ShortLeast, ShortMost float64
}

// MoldFilter narrows a list of molds.
type MoldFilter struct {
	DealerID *uuid.UUID
	State    record.MoldState
	Part     string
	Set      string
}

// Place names a list for its cursors, see KeyFilter.Place.
func (f MoldFilter) Place(scope Scope) Place {
	return newPlace("molds", scope, id(f.DealerID), string(f.State), f.Part, f.Set)
}

// CheckMold says whether a mold can be stored.
func CheckMold(m record.Mold) error {
	err := first(
		present("id", m.ID),
		text("tag", m.Tag, 0, maxText),
		text("part", m.Part, 1, maxText),
		text("class", m.Class, 1, maxText),
		text("fingerprint", m.Fingerprint, 1, maxText),
		text("set", m.Set, 1, maxText),
		text("location", m.Location, 0, maxText),
		text("note", m.Note, 0, maxText),
		document("face", m.Face, true),
		when("creation time", m.CreatedAt),
		when("time of change", m.UpdatedAt),
	)
	size := func(x float64) bool { return x >= 0 && x < 1e9 }
	switch {
	case err != nil:
		return err
	case !m.State.Valid():
		return invalid("the state %q is none of ready, in_use, retired", m.State)
	case m.Version < 1:
		return invalid("the version %d is less than 1", m.Version)
	case m.RemainingPulls < 0 || m.Pulls < 0 || m.RemainingPulls > math.MaxInt32 || m.Pulls > math.MaxInt32:
		return invalid("%d pulls left and %d made are no counts", m.RemainingPulls, m.Pulls)
	case !size(m.Long) || !size(m.Short) || !size(m.LeastRadius) || m.Short > m.Long:
		return invalid("a mold of %v by %v mm, radius %v, is none", m.Long, m.Short, m.LeastRadius)
	}
	return nil
}

// CheckMoldReservation says whether a change of a reservation can be stored.
func CheckMoldReservation(v record.MoldReservation) error {
	err := first(present("order", v.OrderID), present("mold", v.MoldID))
	count := func(n int) bool { return n >= math.MinInt32 && n <= math.MaxInt32 }
	if err == nil && !(count(v.Pulls) && count(v.Taken)) {
		return invalid("%d pulls set aside and %d taken are no counts", v.Pulls, v.Taken)
	}
	return err
}
