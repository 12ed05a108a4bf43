package sqlite

import (
	"context"
	"fmt"

	"hatchwright/store"
)

// list reads one page from new to old.
func list[T any](ctx context.Context, r *registers, what, query string, where *conditions, page store.Page, place store.Place, scan func(row) (T, error), position func(T) store.Position) (store.Listing[T], error) {
	what = "list " + what
	if err := where.after(page, place); err != nil {
		return store.Listing[T]{}, fmt.Errorf("%s: %w", what, err)
	}
	items, err := collect(ctx, r.read, query+where.String()+" order by created_at desc, id desc limit ?", append(where.args, page.Size()+1), scan)
	if err != nil {
		return store.Listing[T]{}, r.done(ctx, what, err)
	}
	return store.Cut(items, page, place, position), nil
}

// collect runs a query and scans every row.
func collect[T any](ctx context.Context, c conn, query string, args []any, scan func(row) (T, error)) ([]T, error) {
	rows, err := c.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	items := []T{}
	for rows.Next() {
		item, err := scan(rows)
		if err != nil {
			return nil, err
		}
		items = append(items, item)
	}
	return items, rows.Err()
}
