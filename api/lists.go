package api

import (
	"net/http"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/civil"
	"hatchwright/service/quantity"
	"hatchwright/store"
)

// sendList answers with one page of a list and a link to the next.
func sendList[T any](c *call, l store.Listing[T], row func(*writer, *T)) error {
	w := newWriter(quantity.Metric)
	defer w.free()
	w.object("")
	w.list("items")
	for i := range l.Items {
		row(w, &l.Items[i])
	}
	w.endList()
	w.optional("next_cursor", l.NextCursor)
	w.end()
	c.linkNext(l.NextCursor)
	return c.send(http.StatusOK, w)
}

// linkNext leads to the next page of a list, if there is one.
func (c *call) linkNext(cursor string) {
	if cursor == "" {
		return
	}
	next := *c.Request().URL
	query := next.Query()
	query.Set("cursor", cursor)
	next.RawQuery = query.Encode()
	c.Response().Header().Set("Link", "<"+next.RequestURI()+`>; rel="next"`)
}

// optional writes a text, null for "".
func (w *writer) optional(k, s string) {
	if s == "" {
		w.null(k)
		return
	}
	w.text(k, s)
}

// day writes a date, null for nil.
func (w *writer) day(k string, d *civil.Date) {
	if d == nil {
		w.null(k)
		return
	}
	w.text(k, d.String())
}

// id writes an id, null for nil.
func (w *writer) id(k string, id *uuid.UUID) {
	if id == nil {
		w.null(k)
		return
	}
	w.text(k, id.String())
}

// moment writes a time of a record, in UTC with its milliseconds, null for nil.
func (w *writer) moment(k string, t *time.Time) {
	if t == nil {
		w.null(k)
		return
	}
	w.text(k, t.UTC().Format("2006-01-02T15:04:05.000Z07:00"))
}
