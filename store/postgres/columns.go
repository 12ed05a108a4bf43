package postgres

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

// momentOrNil is record.Moment of a time that may be missing.
func momentOrNil(t *time.Time) *time.Time {
	if t == nil {
		return nil
	}
	m := record.Moment(*t)
	return &m
}

// inUTC turns times that were scanned in the process's zone.
func inUTC(times ...*time.Time) {
	for _, t := range times {
		if t != nil {
			*t = t.UTC()
		}
	}
}

// conditions gathers the terms of a where clause and their arguments. A term
// writes $? for each argument.
type conditions struct {
	terms []string
	args  []any
}

func (c *conditions) add(term string, args ...any) {
	for _, a := range args {
		c.args = append(c.args, a)
		term = strings.Replace(term, "$?", "$"+strconv.Itoa(len(c.args)), 1)
	}
	c.terms = append(c.terms, term)
}

// owned narrows to what the scope covers of a table with that owner column.
func (c *conditions) owned(scope store.Scope, column string) {
	if !OwnFilters {
		return
	}
	switch dealer := scope.Dealer(); {
	case scope.Whole():
	case dealer != nil:
		c.add(column+" = $?::uuid", *dealer)
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
	c.add("(created_at, id) < ($?::timestamptz, $?::uuid)", at.CreatedAt, at.ID)
	return nil
}

func (c *conditions) String() string {
	if len(c.terms) == 0 {
		return ""
	}
	return " where " + strings.Join(c.terms, " and ")
}

// list reads one page from new to old.
func list[T any](ctx context.Context, s session, what string, scope store.Scope, query string, where *conditions, page store.Page, place store.Place, scan func(pgx.Rows) (T, error), position func(T) store.Position) (store.Listing[T], error) {
	what = "list " + what
	if err := where.after(page, place); err != nil {
		return store.Listing[T]{}, fmt.Errorf("%s: %w", what, err)
	}
	// The limit is no parameter: a generic plan would guess it at a tenth of the
	// table and might read it all.
	query += where.String() + " order by created_at desc, id desc limit " + strconv.Itoa(page.Size()+1)
	var items []T
	if err := s.query(ctx, scope, every(&items, scan), query, where.args...); err != nil {
		return store.Listing[T]{}, s.done(ctx, what, err)
	}
	return store.Cut(items, page, place, position), nil
}
