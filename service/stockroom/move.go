package stockroom

import (
	"slices"

	"hatchwright/service/civil"
)

// Kind of a move.
type Kind string

// The kinds. Each has a positive amount, but for Count.
const (
	Receive Kind = "receive" // a new lot comes in
	Issue   Kind = "issue"   // used up, by an order from what it has reserved, or by nobody in particular
	Return  Kind = "return"  // comes back unused
	Scrap   Kind = "scrap"   // thrown away: spilt, gelled, past its date
	Count   Kind = "count"   // a stock count found more or less: the difference
	Reserve Kind = "reserve" // set aside for an order
	Release Kind = "release" // no longer set aside
)

// Kinds lists every kind.
var Kinds = []Kind{Receive, Issue, Return, Scrap, Count, Reserve, Release}

// Change is what a move does to a lot: to what is there and to what is set aside
// of it. Free is the difference.
type Change struct{ OnHand, Reserved Amount }

// Standing is how a lot stands.
type Standing struct {
	OnHand   Amount
	Reserved Amount      // of it, for all orders
	Own      Amount      // of that, for the order of the move
	Expires  *civil.Date // nil: it does not age
}

// Change works out what a move of a lot changes. order tells that the move is for
// an order. Errors: a *Refusal; then nothing changes.
//
//	            on hand   reserved
//	receive       +a
//	return        +a
//	count         ±a                    on hand stays >= reserved
//	issue         -a                    only of what is free
//	 for an order -a         -a         only of what it has reserved
//	scrap         -a                    only of what is free
//	reserve                  +a         only of what is free and good today
//	release                  -a         only of what the order has reserved
func (s Standing) Change(kind Kind, a Amount, order bool, today civil.Date) (Change, error) {
	if !slices.Contains(Kinds, kind) {
		return Change{}, refuse(NoKind, "There is no move %q. Give one of %v.", kind, Kinds)
	}
	if a == 0 || (a < 0 && kind != Count) || a > Largest || a < -Largest {
		return Change{}, refuse(WrongAmount, "A move of %v is none: give an amount above 0 and of at most %d units; only a count may be below 0.", a, Largest/Unit)
	}
	free := s.OnHand - s.Reserved
	need := func(what string, most Amount) error {
		switch {
		case a > s.OnHand:
			return refuse(BelowZero, "%s of %v is more than the %v of the lot. Take at most %v, or count the lot first.", what, a, s.OnHand, max(0, most))
		case a > most:
			return refuse(Reserved, "%s of %v takes what is reserved: of %v on hand %v are set aside. Take at most %v, or release a reservation first.", what, a, s.OnHand, s.Reserved, max(0, most))
		}
		return nil
	}
	own := func(what string) error {
		if a > s.Own {
			return refuse(NotReserved, "%s of %v is more than the %v that the order has reserved of this lot. Give at most that, or reserve more first.", what, a, s.Own)
		}
		return nil
	}
	switch kind {
	case Receive, Return:
		if s.OnHand+a > Largest {
			return Change{}, refuse(WrongAmount, "The lot would hold %v, over %d units. Make another lot.", s.OnHand+a, Largest/Unit)
		}
		return Change{OnHand: a}, nil
	case Count:
		if after := s.OnHand + a; after < 0 {
			return Change{}, refuse(BelowZero, "A count that finds %v less leaves %v of the lot. The lot has %v; give at least %v.", -a, after, s.OnHand, -s.OnHand)
		} else if after < s.Reserved {
			return Change{}, refuse(Reserved, "A count that finds %v less leaves %v, and %v are reserved. Release reservations first.", -a, after, s.Reserved)
		}
		return Change{OnHand: a}, nil
	case Issue:
		if order {
			if err := own("An issue"); err != nil {
				return Change{}, err
			}
			return Change{OnHand: -a, Reserved: -a}, nil
		}
		return Change{OnHand: -a}, need("An issue", free)
	case Scrap:
		return Change{OnHand: -a}, need("Scrap", free)
	case Reserve:
		if Past(s.Expires, today) {
			return Change{}, refuse(Expired, "The lot was good until %v; today is %v. Reserve from another lot, and scrap this one.", *s.Expires, today)
		}
		return Change{Reserved: a}, need("A reservation", free)
	default:
		return Change{Reserved: -a}, own("A release")
	}
}

// Past tells whether a lot is past its date on a day.
func Past(expires *civil.Date, day civil.Date) bool {
	return expires != nil && day.Compare(*expires) > 0
}

// Day reads the date of a lot; nil for "".
func Day(text string) *civil.Date {
	d, err := civil.ParseDate(text)
	if err != nil {
		return nil
	}
	return &d
}
