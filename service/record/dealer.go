package record

import (
	"time"

	"github.com/google/uuid"
)

// Dealer is a business that orders hatches from the shop for its own customers.
type Dealer struct {
	ID        uuid.UUID
	Name      string // unique among dealers, without regard to case
	Email     string // "" when none was given
	CreatedAt time.Time
}
