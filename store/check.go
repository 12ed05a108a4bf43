package store

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Lengths in bytes that no stored text passes. They are far above what people
// write and keep an index entry within a third of a database page.
const (
	maxText = 1000 // names, references, routes ...
	maxKey  = 255  // an idempotency key: bounds a header that a client makes up
)

// The checks below are the schema's rules in one place, so that both engines
// refuse the same records; every refusal matches ErrInvalid. An engine calls them
// before it writes. The schema repeats what it can.

// CheckDealer says whether a dealer can be stored.
func CheckDealer(d record.Dealer) error {
	return first(
		present("id", d.ID),
		text("name", d.Name, 1, maxText),
		text("email", d.Email, 0, maxText),
		when("creation time", d.CreatedAt),
	)
}

// CheckKey says whether a key can be stored. A shop key belongs to no dealer, a
// dealer key to one; a storefront key may do either.
func CheckKey(k record.Key) error {
	err := first(
		present("id", k.ID),
		text("name", k.Name, 0, maxText),
		text("prefix", k.Prefix, 0, maxText),
		when("creation time", k.CreatedAt),
		whenever("expiry", k.ExpiresAt),
		whenever("time of revocation", k.RevokedAt),
		whenever("time of last use", k.LastUsedAt),
	)
	switch {
	case err != nil:
		return err
	case !k.Role.Valid():
		return invalid("the role %q is none of storefront, dealer, shop", k.Role)
	case len(k.Hash) != 32:
		return invalid("the hash has %d bytes, not the 32 of SHA-256", len(k.Hash))
	case k.Quota < 0:
		return invalid("the quota %d is less than nothing", k.Quota)
	case k.RotatedFrom != nil && (*k.RotatedFrom == k.ID || k.Root == nil):
		return invalid("a key is rotated from another one, and then has a root")
	case k.Role == record.RoleShop && k.DealerID != nil:
		return invalid("a shop key belongs to no dealer")
	case k.Role == record.RoleDealer && k.DealerID == nil:
		return invalid("a dealer key belongs to a dealer")
	}
	return nil
}

// CheckConfiguration says whether a configuration can be stored.
func CheckConfiguration(c record.Configuration) error {
	err := first(
		present("id", c.ID),
		text("digest", c.Digest, 1, maxText),
		text("units", c.Units, 1, maxText),
		text("pattern", c.Pattern, 1, maxText),
		text("verdict", c.Verdict, 1, maxText),
		text("name", c.Name, 0, maxText),
		text("reference", c.Reference, 0, maxText),
		text("engine revision", c.Revision.Engine, 0, maxText),
		text("catalog revision", c.Revision.Catalog, 0, maxText),
		text("price book revision", c.Revision.PriceBook, 0, maxText),
		when("creation time", c.CreatedAt),
		document("requested configuration", c.Requested, true),
		document("completed configuration", c.Completed, true),
		document("derivation", c.Derivation, false),
	)
	switch {
	case err != nil:
		return err
	case c.SchemaVersion < 1:
		return invalid("the schema version %d is less than 1", c.SchemaVersion)
	case c.Supersedes != nil && *c.Supersedes == c.ID:
		return invalid("a configuration cannot supersede itself")
	}
	return nil
}

// CheckShopDocument says whether a shop document can be stored.
func CheckShopDocument(d record.ShopDocument) error {
	return first(
		text("kind", d.Kind, 1, maxText),
		text("author", d.Author, 0, maxText),
		when("creation time", d.CreatedAt),
		document("body", d.Body, true),
	)
}

// CheckClaim says whether an idempotency claim can be stored.
func CheckClaim(c record.IdempotencyClaim) error {
	err := first(
		text("key", c.Key, 1, maxKey),
		text("caller", c.Caller, 1, maxKey),
		text("method", c.Method, 1, maxText),
		text("route", c.Route, 1, maxText),
		present("token", c.Token),
		when("creation time", c.CreatedAt),
		when("end of the lock", c.LockedUntil),
		when("expiry", c.ExpiresAt),
	)
	switch {
	case err != nil:
		return err
	case len(c.BodyHash) == 0 || len(c.BodyHash) > 64:
		return invalid("the body's hash has %d bytes, not 1 to 64", len(c.BodyHash))
	case !record.Moment(c.ExpiresAt).After(record.Moment(c.CreatedAt)):
		return invalid("the claim expires before it begins")
	}
	return nil
}

func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func invalid(format string, args ...any) error {
	return fmt.Errorf("%w: "+format, append([]any{ErrInvalid}, args...)...)
}

func present(what string, id uuid.UUID) error {
	if id == uuid.Nil {
		return invalid("the %s is missing", what)
	}
	return nil
}

// text refuses what one of the engines cannot hold: PostgreSQL's text has no NUL
// and is valid UTF-8.
func text(what, s string, atLeast, atMost int) error {
	switch {
	case len(s) < atLeast:
		return invalid("the %s is missing", what)
	case len(s) > atMost:
		return invalid("the %s has %d bytes, more than %d", what, len(s), atMost)
	case strings.IndexByte(s, 0) >= 0:
		return invalid("the %s has a NUL character", what)
	case !utf8.ValidString(s):
		return invalid("the %s is not UTF-8", what)
	}
	return nil
}

func document(what string, body []byte, needed bool) error {
	switch {
	case needed && len(body) == 0:
		return invalid("the %s is missing", what)
	case !utf8.Valid(body):
		return invalid("the %s is not UTF-8", what)
	}
	for _, b := range body {
		if b == 0 {
			return invalid("the %s has a NUL character", what)
		}
	}
	return nil
}

func when(what string, t time.Time) error {
	if ms := t.UnixMilli(); t.IsZero() || ms < 0 || ms > lastMilli {
		return invalid("the %s is missing or outside the years 1970 to 9999", what)
	}
	return nil
}

func whenever(what string, t *time.Time) error {
	if t == nil {
		return nil
	}
	return when(what, *t)
}

// Admit is what an engine asks before it writes: whether the scope covers the record's
// owner (ErrOutOfScope), and what the check of the record said.
func Admit(what string, covered bool, check error) error {
	if !covered {
		check = ErrOutOfScope
	}
	if check != nil {
		return fmt.Errorf("%s: %w", what, check)
	}
	return nil
}
