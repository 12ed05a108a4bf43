package record

import (
	"time"

	"github.com/google/uuid"

	"hatchwright/service/stockroom"
)

// Lot is material received at one time. Only OnHand, Reserved and UpdatedAt
// change, with its moves.
type Lot struct {
	ID         uuid.UUID
	Material   string // key of the catalog
	Unit       string
	Batch      string           // the maker's, "" for none
	OnHand     stockroom.Amount // never below Reserved
	Reserved   stockroom.Amount // for orders, never below 0
	ReceivedOn string           // local date of the shop, ISO 8601
	ExpiresOn  string           // the last day on which it is good; "": it does not age
	CreatedAt  time.Time
	UpdatedAt  time.Time
}

// InStock is the lot as the rules of the stock see it.
func (l Lot) InStock() stockroom.Lot {
	lot := stockroom.Lot{ID: l.ID.String(), Material: l.Material, Free: l.OnHand - l.Reserved, Expires: stockroom.Day(l.ExpiresOn)}
	if received := stockroom.Day(l.ReceivedOn); received != nil {
		lot.Received = *received
	}
	return lot
}

// StockMove is an entry of the stock's book. It never changes.
type StockMove struct {
	ID       uuid.UUID
	LotID    uuid.UUID
	Material string // of the lot
	Kind     stockroom.Kind
	Amount   stockroom.Amount // as given
	OrderID  *uuid.UUID       // the order it is for; nil: none
	Note     string
	// Change is what it did to the lot.
	Change    stockroom.Change
	CreatedAt time.Time
	By        Actor
}

// Issued is what the move adds to what its order has used of the lot.
func (m StockMove) Issued() stockroom.Amount {
	if m.OrderID != nil && (m.Kind == stockroom.Issue || m.Kind == stockroom.Return) {
		return -m.Change.OnHand
	}
	return 0
}

// Reservation is what an order has set aside of a lot, and what it has used of it.
type Reservation struct {
	OrderID  uuid.UUID
	LotID    uuid.UUID
	Material string
	Amount   stockroom.Amount
	Issued   stockroom.Amount // less what came back
}
