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
	// LeadTime is what the promise rests on; nil in lines from before it was kept.
	LeadTime *QuoteLeadTime `json:"lead_time,omitempty"`
}

// QuoteLeadTime is a lead time as it was when a quote was made: of the line, or of
// the whole quote when it has several.
type QuoteLeadTime struct {
	P50 string `json:"p50"` // local dates in the shop's zone, ISO 8601
	P80 string `json:"p80"`
	P95 string `json:"p95"`
	// The open work that it stands behind.
	Backlog    string    `json:"backlog,omitempty"` // its version
	AsOf       time.Time `json:"as_of"`
	Orders     int       `json:"orders"`
	Operations int       `json:"operations"`
	Scenarios  int       `json:"scenarios"`
	Stale      bool      `json:"stale,omitempty"`

	Molds []QuoteMold     `json:"molds,omitempty"` // registered molds that are used
	Near  []QuoteNearMold `json:"near,omitempty"`  // offered, for this line alone
}

// QuoteMold is a registered mold of one part.
type QuoteMold struct {
	Part string    `json:"part"`
	ID   uuid.UUID `json:"id"`
	Tag  string    `json:"tag,omitempty"`
}

// QuoteNearMold is a hatch out of molds that are there, a little off what was asked.
type QuoteNearMold struct {
	Molds       []QuoteMold           `json:"molds"`
	Off         float64               `json:"off"` // mm, the most that any size differs
	Differences []QuoteMoldDifference `json:"differences"`
	Promise     string                `json:"promise"`
	DaysSaved   int                   `json:"days_saved"`
	Price       money.Amount          `json:"price"`
	PriceSaved  money.Amount          `json:"price_saved"` // may be below 0
}

// QuoteMoldDifference is a difference of one mold's face from what was asked, mm.
type QuoteMoldDifference struct {
	Part  string  `json:"part"`
	What  string  `json:"what"`
	By    float64 `json:"by"`
	Asked float64 `json:"asked"`
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
	Part   string  `json:"part,omitempty"` // "" for the hatch as a whole
	Center string  `json:"center"`
	Hours  float64 `json:"hours"` // planned, of one person
	Crew   int     `json:"crew"`
}
