package record

import (
	"time"

	"github.com/google/uuid"

	"hatchwright/service/money"
	"hatchwright/service/stockroom"
)

// QuoteState is how far a quote has come.
type QuoteState string

// The states. Expired is never stored: an open quote is expired once its time is
// over.
const (
	QuoteOpen      QuoteState = "open"
	QuoteOrdered   QuoteState = "ordered"
	QuoteWithdrawn QuoteState = "withdrawn"
	QuoteExpired   QuoteState = "expired"
)

// Quote is a price and a date for some configurations, frozen until ValidUntil.
// Only State, Version, OrderID and UpdatedAt ever change.
type Quote struct {
	ID        uuid.UUID
	DealerID  *uuid.UUID // nil: the shop's own
	State     QuoteState
	Version   int    // 1, and one more with each change
	Reference string // the owner's own reference, "" when none was given
	Revises   *uuid.UUID
	OrderID   *uuid.UUID // the order placed from it; nil unless ordered

	Revision   Revision // what the prices were worked out with
	Promise    string   // local date in the shop's zone, ISO 8601 "2027-03-05"
	ValidUntil time.Time
	Total      money.Amount

	CreatedAt time.Time
	UpdatedAt time.Time
	CreatedBy Actor

	// SchemaVersion is the layout of the lines. A listing leaves them nil.
	SchemaVersion int
	Lines         []QuoteLine
}

// QuoteLine is one configuration of a quote with its price, as it is stored.
type QuoteLine struct {
	ConfigurationID uuid.UUID   `json:"configuration_id"`
	Digest          string      `json:"digest"` // of the configuration in this quantity
	Name            string      `json:"name,omitempty"`
	Quantity        int         `json:"quantity"`
	Promise         string      `json:"promise"`
	WorkingHours    float64     `json:"working_hours"`
	Totals          PriceTotals `json:"totals"`
	Operations      []Operation `json:"operations"`
	// Molds are the registered molds that the line comes out of, by part.
	Molds map[string]uuid.UUID `json:"molds,omitempty"`
	// FromStock is what the line counts on of the shop's stock; nil in lines of the
	// first layout, which counted on none.
	FromStock []StockCount `json:"from_stock,omitempty"`
}

// StockCount is an amount of a material that was free in stock.
type StockCount struct {
	Material string           `json:"material"`
	Amount   stockroom.Amount `json:"millionths"` // of the material's unit
}

// PriceTotals is how a price is made up; all but PriceEach for the whole quantity.
type PriceTotals struct {
	Material  money.Amount `json:"material"`
	Labor     money.Amount `json:"labor"`
	Overhead  money.Amount `json:"overhead"`
	Mold      money.Amount `json:"mold"`
	Margin    money.Amount `json:"margin"`
	Discount  money.Amount `json:"discount"`
	PriceEach money.Amount `json:"price_each"`
	Price     money.Amount `json:"price"`
}

// Operation is one operation of the plan that a quote was priced on.
type Operation struct {
	Key    string  `json:"key"` // unique within the order: the line's number, a hyphen, the operation
	Kind   string  `json:"kind"`
	Center string  `json:"center"`
	Hours  float64 `json:"hours"` // planned, of one person
	Crew   int     `json:"crew"`
}
