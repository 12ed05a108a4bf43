package store

import (
	"strconv"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
)

// A filter narrows a list; a zero field does not. Fields narrow together.

// KeyFilter narrows a list of keys.
type KeyFilter struct {
	DealerID *uuid.UUID
	Role     record.Role
}

// ConfigurationFilter narrows a list of configurations.
type ConfigurationFilter struct {
	DealerID      *uuid.UUID
	Pattern       string
	Verdict       string
	Digest        string
	Reference     string
	CreatedFrom   time.Time // at or after
	CreatedBefore time.Time // before
}

// Place names a list for its cursors: a cursor is taken back only by the list,
// scope and filter that gave it out.
func (f KeyFilter) Place(scope Scope) Place {
	return newPlace("keys", scope, id(f.DealerID), string(f.Role))
}

// Place names a list for its cursors, see KeyFilter.Place.
func (f ConfigurationFilter) Place(scope Scope) Place {
	return newPlace("configurations", scope, id(f.DealerID), f.Pattern, f.Verdict, f.Digest, f.Reference,
		moment(f.CreatedFrom), moment(f.CreatedBefore))
}

// DealerPlace names the list of dealers for its cursors.
func DealerPlace(scope Scope) Place { return newPlace("dealers", scope) }

// ShopDocumentPlace names the list of one kind's versions for its cursors.
func ShopDocumentPlace(kind string) Place { return newPlace("shop_documents", ShopScope(), kind) }

func id(u *uuid.UUID) string {
	if u == nil {
		return ""
	}
	return u.String()
}

func moment(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return strconv.FormatInt(t.UnixMilli(), 10)
}
