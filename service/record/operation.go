package record

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
)

// OrderPlan is the graph of an order's operations as it was when the order was
// accepted, with the dates that could then be given, and how it came out.
type OrderPlan struct {
	OrderID       uuid.UUID
	SchemaVersion int
	Body          json.RawMessage
	PlannedAt     time.Time

	// The percentiles given, behind what was open then; nil before they are.
	P50, P80, P95 *time.Time
	FinishedAt    *time.Time // when the last operation was; nil while it is open
}

// Observation is a finished operation as far as something can be learned from it:
// hours as planned and as they came out.
type Observation struct {
	OrderID    uuid.UUID
	Operation  string
	Kind       string
	Estimate   float64 // hours
	Actual     float64 // hours
	FinishedAt time.Time
}
