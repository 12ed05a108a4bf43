package store

import (
	"context"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/stockroom"
)

// Stock is lots of material and the book of their moves. It is the shop's alone:
// every other scope covers none of it.
type Stock interface {
	// InsertLot adds a lot that holds nothing yet. ErrConflict when the id is taken.
	InsertLot(ctx context.Context, scope Scope, lot record.Lot) error

	// Hold returns a lot, and what the order (nil: none) has reserved of it, and
	// keeps others from moving it until the transaction ends. Call it in one, and
	// lots in the order of their ids.
	Hold(ctx context.Context, scope Scope, lot uuid.UUID, order *uuid.UUID) (record.Lot, stockroom.Amount, error)

	// HoldMaterials returns every lot of the materials that holds something, by id,
	// and keeps others from moving them until the transaction ends. Call it in one.
	HoldMaterials(ctx context.Context, scope Scope, materials []string) ([]record.Lot, error)

	// Move enters a move into the book and changes lot and reservation as it says.
	// Call it in a transaction that holds the lot. ErrConflict when the id is taken;
	// ErrNotFound when the lot or the order is not there; ErrInvalid when less than
	// nothing would be left of anything: nothing is changed then.
	Move(ctx context.Context, scope Scope, move record.StockMove) error

	// Lots lists lots, newest first.
	Lots(ctx context.Context, scope Scope, filter LotFilter, page Page) (Listing[record.Lot], error)

	// Moves lists moves, newest first.
	Moves(ctx context.Context, scope Scope, filter MoveFilter, page Page) (Listing[record.StockMove], error)

	// OnHand returns every lot that holds something, by material, expiry (what does
	// not age last), receipt and id.
	OnHand(ctx context.Context, scope Scope) ([]record.Lot, error)

	// Kept returns the materials that there has ever been a lot of, sorted.
	Kept(ctx context.Context, scope Scope) ([]string, error)

	// Reservations returns what is reserved or was used, of one order or of all
	// (nil), by order, material and lot.
	Reservations(ctx context.Context, scope Scope, order *uuid.UUID) ([]record.Reservation, error)
}

// LotFilter narrows a list of lots.
type LotFilter struct {
	Material  string
	Held      bool   // only lots that hold something
	ExpiresBy string // that day or earlier, ISO 8601
}

// Place names a list for its cursors, see KeyFilter.Place.
func (f LotFilter) Place(scope Scope) Place {
	held := ""
	if f.Held {
		held = "held"
	}
	return newPlace("lots", scope, f.Material, held, f.ExpiresBy)
}

// MoveFilter narrows a list of moves.
type MoveFilter struct {
	LotID    *uuid.UUID
	OrderID  *uuid.UUID
	Material string
	Kind     stockroom.Kind
	From     time.Time // at or after
	Before   time.Time
}

// Place names a list for its cursors, see KeyFilter.Place.
func (f MoveFilter) Place(scope Scope) Place {
	return newPlace("stock moves", scope, id(f.LotID), id(f.OrderID), f.Material, string(f.Kind), moment(f.From), moment(f.Before))
}

// CheckLot says whether a lot can be added.
func CheckLot(l record.Lot) error {
	err := first(
		present("id", l.ID),
		text("material", l.Material, 1, maxText),
		text("unit", l.Unit, 1, maxText),
		text("batch", l.Batch, 0, maxText),
		day("day of receipt", l.ReceivedOn, true),
		day("day of expiry", l.ExpiresOn, false),
		when("creation time", l.CreatedAt),
		when("time of change", l.UpdatedAt),
	)
	if err == nil && (l.OnHand != 0 || l.Reserved != 0) {
		return invalid("a lot is filled by its moves")
	}
	return err
}

// CheckMove says whether a move can be entered.
func CheckMove(m record.StockMove) error {
	err := first(
		present("id", m.ID),
		present("lot", m.LotID),
		text("kind", string(m.Kind), 1, maxText),
		text("note", m.Note, 0, maxText),
		when("creation time", m.CreatedAt),
		actor(m.By),
	)
	if err == nil && m.Change.Reserved != 0 && m.OrderID == nil {
		return invalid("what is reserved is reserved for an order")
	}
	return err
}
