package api

import (
	"net/http"

	"hatchwright/service/civil"
	"hatchwright/store"
)

// listPage is one page of a list.
type listPage[R any] struct {
	Items []R      `json:"items"`
	Next  optional `json:"next_cursor"`
}

// sendList answers with one page of a list and a link to the next.
func sendList[T, R any](c *call, l store.Listing[T], row func(*T) R) error {
	c.linkNext(l.NextCursor)
	return c.answer(http.StatusOK, listPage[R]{rows(l.Items, row), optional(l.NextCursor)})
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
