package store

import (
	"context"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Store is everything the service keeps. Calls on the registers of a Store are
// each a transaction of their own.
type Store interface {
	Registers
	Health
	Migrator

	// InTx runs fn in one transaction: committed when fn returns nil, else undone
	// in full and fn's error returned. fn is run once. Inside fn use only the Tx:
	// a write through the Store itself would wait for this very transaction. The
	// Tx is dead once fn returns. A panic in fn undoes the transaction and goes
	// on. After an error that is Fatal the transaction is undone even if fn
	// returns nil; InTx then returns that error. An error that matches ErrInDoubt
	// leaves open whether it was committed; any other says that it was not.
	InTx(ctx context.Context, fn func(tx Tx) error) error

	// Free frees every claim of an idempotency key, and lets go of every delivery,
	// that a process left in hand, and tells how many: where the engine knows that no
	// other process has the store open. Elsewhere it frees none; they lapse. Call it
	// before this process takes anything in hand; a second call frees none.
	Free(ctx context.Context) (freed int, err error)

	// Close waits for running calls and lets go of files and connections. Calls
	// afterwards get ErrUnavailable. Closing twice is harmless.
	Close() error
}

// Tx is a transaction that has begun.
type Tx interface{ Registers }

// Registers are the stored things by role.
type Registers interface {
	Dealers() Dealers
	Keys() Keys
	Configurations() Configurations
	ShopDocuments() ShopDocuments
	Idempotency() Idempotency
	Quotes() Quotes
	Orders() Orders
	Events() Events
	Webhooks() Webhooks
	Deliveries() Deliveries
	Molds() Molds
	Stock() Stock
	Plans() Plans
	Audit() Audit
	Retention() Retention
	Allowances() Allowances
}

// Health tells whether the store can answer.
type Health interface {
	// Ping makes a round trip to the store.
	Ping(ctx context.Context) error
}

// Migrator brings the schema up to date.
type Migrator interface {
	// Migrate applies the migrations that are missing, in order, each in its own
	// transaction, and returns their numbers. Two migrators at once wait for each
	// other; the second finds nothing to do.
	Migrate(ctx context.Context) (applied []int64, err error)

	// Version returns the number of the last migration applied (0 for an empty
	// store) and of the newest one known.
	Version(ctx context.Context) (current, newest int64, err error)
}

// Dealers are the businesses that order from the shop.
type Dealers interface {
	// Insert adds a dealer; only under ShopScope. ErrConflict when the id or the
	// name (compared without regard to the case of ASCII letters) is taken.
	Insert(ctx context.Context, scope Scope, dealer record.Dealer) error

	// Get returns a dealer. A dealer's scope covers that dealer alone; HouseScope
	// covers none.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Dealer, error)

	// List lists dealers, newest first.
	List(ctx context.Context, scope Scope, page Page) (Listing[record.Dealer], error)
}

// Keys are the API keys.
type Keys interface {
	// Insert adds a key. ErrConflict when the id or the hash is taken, or the key
	// that it is rotated from has a successor already: of any number of rotations at
	// once exactly one succeeds. ErrNotFound when its dealer does not exist.
	// RotatedTo, Spent and SpentOn are ignored: others write them.
	Insert(ctx context.Context, scope Scope, key record.Key) error

	// InsertFirst adds a shop key if the store holds no key of the role shop at
	// all, live or not, and tells whether it did. Of several callers at once
	// exactly one adds its key.
	InsertFirst(ctx context.Context, key record.Key) (inserted bool, err error)

	// ByHash returns the key with that hash, revoked and expired ones too: the
	// caller judges with Key.LiveAt. It takes no scope since it is how a scope is
	// found.
	ByHash(ctx context.Context, hash []byte) (record.Key, error)

	// List lists keys, newest first.
	List(ctx context.Context, scope Scope, filter KeyFilter, page Page) (Listing[record.Key], error)

	// Get returns a key.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Key, error)

	// HoldShop returns every shop key that is not revoked, ended ones too, as the
	// last writer left it, and keeps others from changing them and from holding them
	// until the transaction ends. Call it in a transaction, before it changes a key.
	HoldShop(ctx context.Context) ([]record.Key, error)

	// Line returns the keys of one line of rotations that neither are revoked nor
	// have ended by a time. account is what their Account says.
	Line(ctx context.Context, scope Scope, account uuid.UUID, at time.Time) ([]record.Key, error)

	// Expire lets a key end at a time and returns it. A key that ends earlier goes on
	// doing so; that is no error.
	Expire(ctx context.Context, scope Scope, id uuid.UUID, at time.Time) (record.Key, error)

	// Spend takes units from what the key may spend on a day, a UTC date, together
	// with its root and all that came of it, and tells what they have spent on it
	// then. When it would be more than the key's quota nothing is taken, taken is
	// false and spent is what was spent before. A key without a quota may spend
	// anything. Of any number of calls at once, in any number of processes, no more
	// is taken than the quota. A day before the last one on which something was spent
	// counts to that one: clocks differ. It takes no scope, like ByHash.
	Spend(ctx context.Context, id uuid.UUID, day string, units int) (spent int, taken bool, err error)

	// Revoke marks a key revoked and returns it. A key that is revoked already
	// keeps its first time; that is no error.
	Revoke(ctx context.Context, scope Scope, id uuid.UUID, at time.Time) (record.Key, error)

	// TouchLastUsed notes that the key was used at the time given. An earlier
	// time than the one noted changes nothing. It takes no scope, like ByHash.
	TouchLastUsed(ctx context.Context, id uuid.UUID, at time.Time) error
}

// Configurations are the stored hatch configurations, immutable.
type Configurations interface {
	// Insert adds a configuration. ErrConflict when the id is taken; ErrNotFound
	// when its dealer, or the configuration it supersedes, does not exist within
	// the scope or belongs to another owner than this one. Equal digests are no
	// conflict.
	Insert(ctx context.Context, scope Scope, configuration record.Configuration) error

	// Get returns a configuration with its documents.
	Get(ctx context.Context, scope Scope, id uuid.UUID) (record.Configuration, error)

	// List lists configurations without their documents, newest first.
	List(ctx context.Context, scope Scope, filter ConfigurationFilter, page Page) (Listing[record.Configuration], error)
}

// ShopDocuments are the shop's own data, in versions. Everybody's derivations
// read them, so reading takes no scope.
type ShopDocuments interface {
	// Put stores the next version of a kind; only under ShopScope. expected is
	// the version the change is based on, 0 when there is none yet; ErrStaleVersion
	// when the latest is another. doc.Version is ignored; the document comes back
	// with the version it got, expected+1. Of several callers at once with the
	// same expected version exactly one succeeds.
	Put(ctx context.Context, scope Scope, doc record.ShopDocument, expected int) (record.ShopDocument, error)

	// Latest returns the newest version of a kind.
	Latest(ctx context.Context, kind string) (record.ShopDocument, error)

	// Get returns one version of a kind.
	Get(ctx context.Context, kind string, version int) (record.ShopDocument, error)

	// List lists the versions of a kind without their bodies, the newest version
	// first.
	List(ctx context.Context, kind string, page Page) (Listing[record.ShopDocument], error)
}

// Idempotency keeps claims and answers of requests that carry an
// Idempotency-Key. Keys are told apart by scope, caller, method and route. An API
// key and what came of it by rotation are one caller, so that a retry under a renewed
// key cannot place an order twice.
//
//	Begin --Fresh--> work --> Finish (in the work's own transaction)
//	                 Renew \-> Abandon (the work failed and may be tried again)
type Idempotency interface {
	// Begin claims a key. Of any number of attempts at once exactly one gets
	// Fresh. The outcomes, first match:
	//
	//	Fresh    the key is new, or its record has expired, or the same request
	//	         held it past LockedUntil without finishing (its process died):
	//	         the caller now holds the claim
	//	Other    the key was used for another request (path or body)
	//	Stored   the same request was answered: Record.Answer is that answer
	//	Running  the same request is still being worked on
	//
	// Time is claim.CreatedAt, the caller's clock. Call it outside the work's
	// transaction, so that others see the claim at once.
	//
	// What was answered before callers were told apart is Stored for the very same
	// request of every caller of the scope, until it expires.
	Begin(ctx context.Context, scope Scope, claim record.IdempotencyClaim) (Begun, error)

	// Renew makes a claim that its token holds last until then. ErrLostClaim when it
	// is no longer held by the token.
	Renew(ctx context.Context, scope Scope, claim record.IdempotencyClaim, until time.Time) error

	// Finish stores the answer of a claim that its token holds. Inside InTx answer
	// and work are kept together or not at all. ErrLostClaim when the claim is no
	// longer held by the token: return it from InTx, so that the work is undone.
	Finish(ctx context.Context, scope Scope, claim record.IdempotencyClaim, answer record.Answer) error

	// Abandon frees the key of a claim that its token holds. When the token does not
	// hold it (any more), nothing is changed; that is no error.
	Abandon(ctx context.Context, scope Scope, claim record.IdempotencyClaim) error

	// Sweep removes at most limit records of any owner that expired by now and
	// tells how many.
	Sweep(ctx context.Context, now time.Time, limit int) (removed int, err error)
}

// Begun is the outcome of Idempotency.Begin.
type Begun struct {
	Outcome Outcome

	// Record is the record as stored: the caller's own claim when Fresh, else the
	// one found. Its Answer is set only when Stored.
	Record record.IdempotencyRecord
}

// Outcome of Idempotency.Begin.
type Outcome uint8

// The outcomes. The zero Outcome is none of them.
const (
	Fresh Outcome = iota + 1
	Stored
	Running
	Other
)

// String names the outcome in lower case.
func (o Outcome) String() string {
	switch o {
	case Fresh:
		return "fresh"
	case Stored:
		return "stored"
	case Running:
		return "running"
	case Other:
		return "other"
	default:
		return "none"
	}
}
