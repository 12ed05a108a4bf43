package record

import "github.com/google/uuid"

// MoldReservation is what an order has set aside of a registered mold, and what it
// has taken from it, in pulls.
type MoldReservation struct {
	OrderID uuid.UUID
	MoldID  uuid.UUID
	Pulls   int // set aside, not taken yet
	Taken   int
}
