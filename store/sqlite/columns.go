package sqlite

import (
	"fmt"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/store"
)

// millis is a time as its column holds it.
func millis(t time.Time) int64 { return t.UnixMilli() }

func millisOrNull(t *time.Time) any {
	if t == nil {
		return nil
	}
	return t.UnixMilli()
}

func idOrNull(id *uuid.UUID) any {
	if id == nil {
		return nil
	}
	return id.String()
}

// stamp scans a column of Unix milliseconds into a time.
type stamp struct{ into *time.Time }

func (s stamp) Scan(value any) error {
	ms, ok := value.(int64)
	if !ok {
		return fmt.Errorf("a time is stored as %T, not as an integer", value)
	}
	*s.into = time.UnixMilli(ms).UTC()
	return nil
}

// stampOrNull scans a column that may be null.
type stampOrNull struct{ into **time.Time }

func (s stampOrNull) Scan(value any) error {
	if value == nil {
		*s.into = nil
		return nil
	}
	*s.into = new(time.Time)
	return stamp{*s.into}.Scan(value)
}

// row is what a record is scanned from.
type row interface{ Scan(dest ...any) error }

// conditions gathers the terms of a where clause and their arguments.
type conditions struct {
	terms []string
	args  []any
}

func (c *conditions) add(term string, args ...any) {
	c.terms = append(c.terms, term)
	c.args = append(c.args, args...)
}

// owned narrows to what the scope covers of a table with that owner column.
func (c *conditions) owned(scope store.Scope, column string) {
	switch dealer := scope.Dealer(); {
	case scope.Whole():
	case dealer != nil:
		c.add(column+" = ?", dealer.String())
	case scope == store.HouseScope():
		c.add(column + " is null")
	default:
		c.add("false")
	}
}

// after narrows to what comes after the page's cursor in a list from new to old.
func (c *conditions) after(page store.Page, place store.Place) error {
	at, ok, err := page.After(place)
	if err != nil || !ok {
		return err
	}
	c.add("(created_at, id) < (?, ?)", millis(at.CreatedAt), at.ID.String())
	return nil
}

func (c *conditions) String() string {
	if len(c.terms) == 0 {
		return ""
	}
	return " where " + strings.Join(c.terms, " and ")
}
