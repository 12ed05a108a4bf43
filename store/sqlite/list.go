package sqlite

import (
	"context"
	"fmt"

	"hatchwright/store"
	"hatchwright/store/table"
)

// find reads the first record. rest is what follows the where clause.
func find[T any](ctx context.Context, c conn, t *table.Table[T], where *table.Where, rest string) (T, error) {
	return t.Scan(c.QueryRowContext(ctx, t.Select+where.String()+rest, where.Args...))
}

// all reads every record.
func all[T any](ctx context.Context, c conn, t *table.Table[T], where *table.Where, rest string) ([]T, error) {
	return collect(ctx, c, t.Select+where.String()+rest, where.Args, scanRow(t))
}

// list reads one page from new to old.
func list[T any](ctx context.Context, r *registers, t *table.Table[T], where *table.Where, page store.Page, place store.Place) (store.Listing[T], error) {
	what := "list " + t.What
	if err := where.After(page, place); err != nil {
		return store.Listing[T]{}, fmt.Errorf("%s: %w", what, err)
	}
	return pageOf(ctx, r, what, t, where, page, place, "created_at desc, id desc")
}

// versions reads one page from the newest version to the oldest, by a column of
// numbers.
func versions[T any](ctx context.Context, r *registers, what string, t *table.Table[T], where *table.Where, page store.Page, place store.Place, column string) (store.Listing[T], error) {
	if err := where.Before(column, page, place); err != nil {
		return store.Listing[T]{}, fmt.Errorf("%s: %w", what, err)
	}
	return pageOf(ctx, r, what, t, where, page, place, column+" desc")
}

func pageOf[T any](ctx context.Context, r *registers, what string, t *table.Table[T], where *table.Where, page store.Page, place store.Place, order string) (store.Listing[T], error) {
	items, err := collect(ctx, r.read, t.Select+where.String()+" order by "+order+" limit ?", append(where.Args, page.Size()+1), scanRow(t))
	if err != nil {
		return store.Listing[T]{}, r.done(ctx, what, err)
	}
	return t.Cut(items, page, place), nil
}

func scanRow[T any](t *table.Table[T]) func(table.Row) (T, error) {
	return func(r table.Row) (T, error) { return t.Scan(r) }
}

// collect runs a query and scans every row.
func collect[T any](ctx context.Context, c conn, query string, args []any, scan func(table.Row) (T, error)) ([]T, error) {
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

// insert adds a record: ErrNotFound where what it refers to is not there.
func insert[T any](ctx context.Context, c conn, t *table.Table[T], v *T, more ...table.Column) error {
	n, err := insertWhere(ctx, c, t, v, "", more...)
	if err == nil && n == 0 {
		err = fmt.Errorf("what it refers to: %w", store.ErrNotFound)
	}
	return err
}

// insertWhere adds a record where what it refers to is there and the further condition
// holds, and tells how many rows that were.
func insertWhere[T any](ctx context.Context, c conn, t *table.Table[T], v *T, further string, more ...table.Column) (int64, error) {
	statement, condition, args, err := t.Insert(dialect, v, more...)
	if err != nil {
		return 0, err
	}
	return affected(c.ExecContext(ctx, statement+" where "+condition+further, args...))
}

// update changes a record whose stored version is the expected one. ErrNotFound when it
// is not there, ErrStaleVersion when its version is another.
func update[T any](ctx context.Context, r *registers, scope store.Scope, t *table.Table[T], v *T, id any, expected int) error {
	return r.atomically(ctx, func(w conn) error {
		its := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
		var version int
		if err := w.QueryRowContext(ctx, "select version from "+t.Name+its.String(), its.Args...).Scan(&version); err != nil {
			return err
		}
		if version != expected {
			return store.ErrStaleVersion
		}
		set, args, err := t.Set(dialect, v)
		if err != nil {
			return err
		}
		where := narrow(args...).Owned(scope, "dealer_id").Add("id = ?", id)
		_, err = w.ExecContext(ctx, "update "+t.Name+" set "+set+where.String(), where.Args...)
		return err
	})
}
