package store

import (
	"context"
	"encoding/json"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// Audit is the list of who changed what. Entries are added and read; the schema
// refuses to change them or take them away.
type Audit interface {
	// Append adds entries, within any scope: whoever changes something is written
	// down. Call it in the transaction of the change. ErrConflict when an id is
	// taken.
	Append(ctx context.Context, scope Scope, entries ...record.AuditEntry) error

	// List lists entries, newest first; every other scope than the shop's covers
	// none.
	List(ctx context.Context, scope Scope, filter AuditFilter, page Page) (Listing[record.AuditEntry], error)
}

// AuditFilter narrows a list of entries.
type AuditFilter struct {
	KeyID     *uuid.UUID
	Subject   string // of an identity provider
	ThingKind string
	ThingID   string
	Action    string
	RequestID string
	From      time.Time // at or after
	Before    time.Time // before
}

// Place names a list for its cursors, see KeyFilter.Place.
func (f AuditFilter) Place(scope Scope) Place {
	return newPlace("audit", scope, id(f.KeyID), f.Subject, f.ThingKind, f.ThingID, f.Action, f.RequestID, moment(f.From), moment(f.Before))
}

// CheckAudit says whether an entry can be stored.
func CheckAudit(e record.AuditEntry) error {
	changes, err := json.Marshal(e.Changes)
	if err != nil {
		return invalid("the changes: %v", err)
	}
	err = first(
		present("id", e.ID),
		when("creation time", e.CreatedAt),
		text("name of the key", e.By.KeyName, 0, maxText),
		text("issuer", e.By.Issuer, 0, maxText),
		text("subject", e.By.Subject, 0, maxText),
		text("request id", e.RequestID, 0, maxText),
		text("action", e.Action, 1, maxText),
		text("kind of thing", e.Thing.Kind, 1, maxText),
		text("thing", e.Thing.ID, 1, maxText),
		document("changes", changes, true),
	)
	switch {
	case err != nil:
		return err
	case e.Outcome != record.AuditDone && e.Outcome != record.AuditUnchanged:
		return invalid("the outcome %q is none of done, unchanged", e.Outcome)
	case (e.By.Issuer == "") != (e.By.Subject == ""):
		return invalid("a person has an issuer and a subject")
	}
	return nil
}
