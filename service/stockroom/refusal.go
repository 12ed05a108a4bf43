package stockroom

import "fmt"

// Reason says why something was refused, in a word that stays the same.
type Reason string

// The reasons.
const (
	WrongAmount Reason = "stock-amount"   // no quantity, nothing, or of the wrong sign
	BelowZero   Reason = "stock-below"    // more would leave than is there
	Reserved    Reason = "stock-reserved" // what would leave is reserved for an order
	NotReserved Reason = "stock-free"     // more would be given back or used than the order has reserved
	Expired     Reason = "stock-expired"  // the lot is past its date
	Unknown     Reason = "stock-material" // no such material in the catalog
	NoKind      Reason = "stock-kind"     // no such kind of move
)

// Refusal is a move refused by the rules. The stock is unchanged.
type Refusal struct {
	Reason Reason
	Detail string // what and how to mend
}

func (r *Refusal) Error() string { return r.Detail }

func refuse(reason Reason, format string, args ...any) *Refusal {
	return &Refusal{reason, fmt.Sprintf(format, args...)}
}
