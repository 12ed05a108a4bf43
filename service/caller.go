package service

import (
	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Caller is who asks, found from a key by Authenticate. A shop Caller with neither
// key nor subject is the service itself.
type Caller struct {
	KeyID    uuid.UUID
	KeyName  string
	Role     record.Role
	DealerID *uuid.UUID // nil for the shop's own keys

	// A person of an identity provider, or the account of a command on the machine; ""
	// for a key.
	Issuer, Subject string

	RequestID string // of what is asked, for audit entries

	// Account is the key that limits are counted for: KeyID, or the first of those
	// that it came of by rotation. Quota is units a day, 0 for no quota, Spent what
	// was spent of it today when the caller was found.
	Account      uuid.UUID
	Quota, Spent int

	answers *answersKey // seals secrets in kept answers; nil for who has no lasting credential
}

// MachineIssuer stands where the issuer of a person's token would, for whoever uses the
// program's commands on the machine itself. Issuers of tokens are URLs.
const MachineIssuer = "machine"

// OnMachine is the caller who uses a command on the machine, by the name of the account
// there: who may read the store's settings may do what the shop may.
func OnMachine(account string) Caller {
	return Caller{Role: record.RoleShop, Issuer: MachineIssuer, Subject: account}
}

// Scope says whose records the caller may touch: everybody's for the shop, a
// dealer's for a key of that dealer, the shop's own for the shop's storefront.
func (c Caller) Scope() store.Scope {
	switch {
	case c.Role == record.RoleShop:
		return store.ShopScope()
	case c.DealerID != nil:
		return store.DealerScope(*c.DealerID)
	case c.Role == record.RoleStorefront:
		return store.HouseScope()
	}
	return store.Scope{}
}

// claimant is whose an Idempotency-Key is: that of an API key and all that came of it
// by rotation, or that of a person.
func (c Caller) claimant() string {
	if c.Subject != "" {
		return "person:" + digest([]byte(c.Issuer+"\x00"+c.Subject))
	}
	if c.Account != uuid.Nil {
		return "key:" + c.Account.String()
	}
	return "key:" + c.KeyID.String()
}

// claimed is an Idempotency-Key as it is kept.
func (c Caller) claimed(key string) string {
	if c.Subject == "" {
		return key
	}
	return "person:" + digest([]byte(c.Issuer+"\x00"+c.Subject+"\x00"+key))
}

// ownerScope is whose molds a thing may be made from, whoever asks: those of its
// owner, which everybody who may read the thing may know of.
func ownerScope(owner *uuid.UUID) store.Scope {
	if owner == nil {
		return store.HouseScope()
	}
	return store.DealerScope(*owner)
}

// owner is the dealer that a new thing is for: the one named, if the caller may
// touch its records, else the caller's own; nil for the shop itself.
func (c Caller) owner(named *uuid.UUID) (*uuid.UUID, error) {
	if named == nil {
		return c.DealerID, nil
	}
	if !c.Scope().Covers(named) {
		return nil, unknownDealer(nil)
	}
	return named, nil
}

// rank orders the roles; each may do what the ones below may.
var rank = map[record.Role]int{record.RoleStorefront: 1, record.RoleDealer: 2, record.RoleShop: 3}

// May reports whether the caller's role reaches the one that is needed.
func (c Caller) May(need record.Role) bool { return rank[c.Role] >= rank[need] && rank[c.Role] > 0 }

// Need returns a fault unless the caller's role reaches the one that is needed. A storefront is told where else to go:
// its key can be read by anybody, so nothing may be kept for it.
func (c Caller) Need(role record.Role) error {
	switch {
	case c.May(role):
		return nil
	case c.Role == record.RoleStorefront && role == record.RoleDealer:
		return fault.New(fault.Forbidden, "This takes a dealer key; yours is a storefront key, which anybody can read: nothing is kept for it, and it reads nothing that is kept. "+
			"Send this from a server of your own with a dealer key, or ask /v1/derive for price and date: that keeps nothing.")
	}
	return fault.New(fault.Forbidden, "This takes a %s key; yours is a %s key.", role, c.Role)
}

// needShop refuses before anything is looked up, so that the answer does not tell
// whether the order is there.
func needShop(c Caller) error {
	if c.Role != record.RoleShop {
		return fault.New(fault.Forbidden, "This takes a shop key; yours is a %s key.", c.Role)
	}
	return nil
}

func sameOwner(a, b *uuid.UUID) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

// worker is the service itself as a caller: the whole shop's scope, and no key.
var worker = Caller{Role: record.RoleShop}

// actor is the caller as events name it: a key by its id, a person by the role alone,
// since dealers read it, and the service itself by nothing.
func (c Caller) actor() record.Actor {
	switch id := c.KeyID; {
	case id != uuid.Nil:
		return record.Actor{KeyID: &id, Role: c.Role}
	case c.Subject != "":
		return record.Actor{Role: c.Role}
	}
	return record.Actor{}
}

// doer is the caller as audit entries name it.
func (c Caller) doer() record.Doer {
	return record.Doer{KeyID: c.actor().KeyID, KeyName: c.KeyName, Issuer: c.Issuer, Subject: c.Subject, Role: c.Role}
}
