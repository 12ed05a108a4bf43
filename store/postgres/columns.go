package postgres

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// dialect is PostgreSQL's.
var dialect = &table.Dialect{
	Mark:   func(n int) string { return "$" + strconv.Itoa(n) },
	Time:   func(t time.Time) any { return record.Moment(t) },
	Casts:  true,
	Owners: OwnFilters,
}

// narrow begins a where clause behind the arguments given.
func narrow(before ...any) *table.Where { return dialect.Where(before...) }

func scanRow[T any](t *table.Table[T]) func(pgx.Rows) (T, error) {
	return func(rows pgx.Rows) (T, error) { return t.Scan(rows) }
}

// find reads the first record. rest is what follows the where clause.
func find[T any](ctx context.Context, s session, scope store.Scope, t *table.Table[T], where *table.Where, rest string) (v T, err error) {
	err = s.query(ctx, scope, one(&v, scanRow(t)), t.Select+where.String()+rest, where.Args...)
	return v, err
}

// all reads every record.
func all[T any](ctx context.Context, s session, scope store.Scope, t *table.Table[T], where *table.Where, rest string) (items []T, err error) {
	err = s.query(ctx, scope, every(&items, scanRow(t)), t.Select+where.String()+rest, where.Args...)
	return items, err
}

// list reads one page from new to old.
func list[T any](ctx context.Context, s session, scope store.Scope, t *table.Table[T], where *table.Where, page store.Page, place store.Place) (store.Listing[T], error) {
	what := "list " + t.What
	if err := where.After(page, place); err != nil {
		return store.Listing[T]{}, fmt.Errorf("%s: %w", what, err)
	}
	return pageOf(ctx, s, scope, what, t, where, page, place, "created_at desc, id desc")
}

// versions reads one page from the newest version to the oldest, by a column of
// numbers.
func versions[T any](ctx context.Context, s session, scope store.Scope, what string, t *table.Table[T], where *table.Where, page store.Page, place store.Place, column string) (store.Listing[T], error) {
	if err := where.Before(column, page, place); err != nil {
		return store.Listing[T]{}, fmt.Errorf("%s: %w", what, err)
	}
	return pageOf(ctx, s, scope, what, t, where, page, place, column+" desc")
}

// pageOf reads a page. The limit is no parameter: a generic plan would guess it at a
// tenth of the table and might read it all.
func pageOf[T any](ctx context.Context, s session, scope store.Scope, what string, t *table.Table[T], where *table.Where, page store.Page, place store.Place, order string) (store.Listing[T], error) {
	items, err := all(ctx, s, scope, t, where, " order by "+order+" limit "+strconv.Itoa(page.Size()+1))
	if err != nil {
		return store.Listing[T]{}, s.done(ctx, what, err)
	}
	return t.Cut(items, page, place), nil
}

// added is what an insert with conditions did.
type added struct {
	allowed bool // what it refers to is there
	rows    int64
}

func scanAdded(r pgx.Rows) (a added, err error) {
	err = r.Scan(&a.allowed, &a.rows)
	return a, err
}

func (a added) err() error {
	switch {
	case !a.allowed:
		return store.ErrNotFound
	case a.rows == 0:
		return store.ErrConflict
	}
	return nil
}

// inserting is the statement that adds a record where what it refers to is there and
// the further condition holds. Steps, which write ? for each of their arguments, may
// follow and look at what was "added". It returns what scanAdded reads; a row that is
// there already is passed over, since an error would end the transaction.
func inserting[T any](t *table.Table[T], v *T, further, steps string, stepArgs []any, more ...table.Column) (statement string, args []any, err error) {
	insert, condition, args, err := t.Insert(dialect, v, more...)
	steps, args = dialect.Text(steps, args, stepArgs...)
	return "with owner as (select " + condition + " as there), added as (" + insert + " from owner where owner.there" + further +
		" on conflict do nothing returning 1)" + steps + " select owner.there, (select count(*) from added) from owner", args, err
}

// insert adds a record: ErrNotFound where what it refers to is not there, ErrConflict
// where it is there already.
func insert[T any](ctx context.Context, s session, scope store.Scope, t *table.Table[T], v *T, more ...table.Column) error {
	return insertWith(ctx, s, scope, t, v, "", nil, more...)
}

// insertWith adds a record and takes further steps in the same statement.
func insertWith[T any](ctx context.Context, s session, scope store.Scope, t *table.Table[T], v *T, steps string, stepArgs []any, more ...table.Column) error {
	statement, args, err := inserting(t, v, "", steps, stepArgs, more...)
	if err != nil {
		return err
	}
	var a added
	if err := s.query(ctx, scope, one(&a, scanAdded), statement, args...); err != nil {
		return err
	}
	return a.err()
}

// update changes a record whose stored version is the expected one. ErrNotFound when it
// is not there, ErrStaleVersion when its version is another.
func update[T any](ctx context.Context, s session, scope store.Scope, t *table.Table[T], v *T, id any, expected int) error {
	set, args, err := t.Set(dialect, v)
	if err != nil {
		return err
	}
	where := narrow(args...).Owned(scope, "dealer_id").Add("id = ?", id).Add("version = ?", expected)
	n, err := exec(ctx, s, scope, "update "+t.Name+" set "+set+where.String(), where.Args...)
	if err != nil || n > 0 {
		return err
	}
	if _, err := find(ctx, s, scope, t, narrow().Owned(scope, "dealer_id").Add("id = ?", id), ""); err != nil {
		return err
	}
	return store.ErrStaleVersion
}
