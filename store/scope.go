package store

import (
	"github.com/google/uuid"
)

// Scope says whose records a call may touch. It is passed explicitly to every
// call on something that a dealer can own. The zero Scope covers nothing.
//
//	ShopScope()      every record, whoever owns it
//	HouseScope()     the shop's own records only, which belong to no dealer:
//	                 for a storefront key of the shop itself
//	DealerScope(id)  that dealer's records only
type Scope struct {
	kind   scopeKind
	dealer uuid.UUID
}

type scopeKind uint8

const (
	scopeNothing scopeKind = iota
	scopeShop
	scopeHouse
	scopeDealer
)

// ShopScope covers every record.
func ShopScope() Scope { return Scope{kind: scopeShop} }

// HouseScope covers the records that belong to no dealer.
func HouseScope() Scope { return Scope{kind: scopeHouse} }

// DealerScope covers the records of one dealer. The nil UUID is no dealer and
// gives the Scope that covers nothing.
func DealerScope(dealer uuid.UUID) Scope {
	if dealer == uuid.Nil {
		return Scope{}
	}
	return Scope{kind: scopeDealer, dealer: dealer}
}

// Covers tells whether a record owned by dealer (nil: by the shop itself) is
// within the scope.
func (s Scope) Covers(dealer *uuid.UUID) bool {
	switch s.kind {
	case scopeShop:
		return true
	case scopeHouse:
		return dealer == nil
	case scopeDealer:
		return dealer != nil && *dealer == s.dealer
	default:
		return false
	}
}

// Whole tells whether the scope covers every record.
func (s Scope) Whole() bool { return s.kind == scopeShop }

// Dealer is the dealer of a DealerScope and nil for any other.
func (s Scope) Dealer() *uuid.UUID {
	if s.kind != scopeDealer {
		return nil
	}
	d := s.dealer
	return &d
}

// String is a stable text for the scope: "shop", "house", a dealer's id, or
// "nothing" for the zero Scope.
func (s Scope) String() string {
	switch s.kind {
	case scopeShop:
		return "shop"
	case scopeHouse:
		return "house"
	case scopeDealer:
		return s.dealer.String()
	default:
		return "nothing"
	}
}
