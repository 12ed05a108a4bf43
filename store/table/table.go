package table

import (
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"time"

	"hatchwright/store"
)

// Column is a column of a table: its name, its type in PostgreSQL, and where it lies in
// the record: a pointer, or one of the crossings below. Without a type it is an
// expression, which is read only.
type Column struct {
	Name, Type string
	Place      any
}

// Expression is a place that the statement itself works out.
type Expression string

// Reference is a column that names a row of another table, or nothing where it is null.
type Reference struct {
	Column, Table string
	SameOwner     bool // the row belongs to the record's own dealer
}

// Table is where records of a kind are kept.
type Table[T any] struct {
	What    string // its rows, in words
	Name    string
	List    string // every column, for a select
	Select  string // "select", every column, "from" and the table
	Changes string // the columns that an update sets

	columns  func(*T) []Column
	refers   []Reference
	position func(*T) store.Position
}

func define[T any](name, what, changes string, columns func(*T) []Column, refers ...Reference) *Table[T] {
	t := &Table[T]{What: what, Name: name, Changes: changes, columns: columns, refers: refers}
	var record T
	var names []string
	for _, c := range columns(&record) {
		names = append(names, c.Name)
	}
	return t.listed(names)
}

func (t *Table[T]) listed(names []string) *Table[T] {
	t.List = strings.Join(names, ", ")
	t.Select = "select " + t.List + " from " + t.Name
	return t
}

// by makes a table of which lists go from new to old, by time and id.
func (t *Table[T]) by(position func(*T) store.Position) *Table[T] {
	t.position = position
	return t
}

// Without is the table with that column read as null.
func (t *Table[T]) Without(column string) *Table[T] {
	less := *t
	var record T
	var names []string
	for _, c := range t.columns(&record) {
		if c.Name == column {
			c.Name = "cast(null as " + c.Type + ")"
		}
		names = append(names, c.Name)
	}
	return less.listed(names)
}

// Cut makes a listing of rows that were read for a page, one more than it holds where
// there are more.
func (t *Table[T]) Cut(items []T, page store.Page, place store.Place) store.Listing[T] {
	return store.Cut(items, page, place, func(v T) store.Position { return t.position(&v) })
}

// Row is what a record is scanned from.
type Row interface{ Scan(dest ...any) error }

// Scan reads a record from a row with the columns of List, and what else was selected
// behind them.
func (t *Table[T]) Scan(row Row, more ...any) (record T, err error) {
	err = t.ScanInto(&record, row, more...)
	return record, err
}

// ScanInto is Scan into a record, of which more may hold further places.
func (t *Table[T]) ScanInto(record *T, row Row, more ...any) error {
	return row.Scan(append(t.places(record), more...)...)
}

// places are where the columns of List go.
func (t *Table[T]) places(record *T) []any {
	columns := t.columns(record)
	out := make([]any, 0, len(columns)+4)
	for _, c := range columns {
		switch p := c.Place.(type) {
		case *time.Time:
			out = append(out, moment{p})
		case **time.Time:
			out = append(out, momentOrNull{p})
		default:
			out = append(out, p)
		}
	}
	return out
}

// Insert is the statement's beginning, "insert into t (columns) select arguments", with
// its arguments, which are numbered from 1, and the condition that everything that the
// record refers to is there. More columns may follow the record's own; one that has a
// name of theirs takes its place.
func (t *Table[T]) Insert(d *Dialect, record *T, more ...Column) (statement, condition string, args []any, err error) {
	var names, marks []string
	place := map[string]string{}
	columns := slices.DeleteFunc(t.columns(record), func(c Column) bool {
		return c.Type == "" || slices.ContainsFunc(more, func(m Column) bool { return m.Name == c.Name })
	})
	for _, c := range append(columns, more...) {
		if e, ok := c.Place.(Expression); ok {
			names, marks = append(names, c.Name), append(marks, string(e))
			continue
		}
		v, err := value(c.Place)
		if err != nil {
			return "", "", nil, fmt.Errorf("%s: %w", c.Name, err)
		}
		args = append(args, d.Args(v)...)
		mark := d.Mark(len(args))
		if d.Casts {
			mark += "::" + c.Type
		}
		names, marks = append(names, c.Name), append(marks, mark)
		place[c.Name] = mark
	}
	var terms []string
	for _, r := range t.refers {
		owner := ""
		if r.SameOwner {
			owner = " and dealer_id is not distinct from " + place["dealer_id"]
		}
		terms = append(terms, fmt.Sprintf("(%[1]s is null or exists (select 1 from %[2]s where id = %[1]s%[3]s))", place[r.Column], r.Table, owner))
	}
	if terms == nil {
		terms = []string{"true"}
	}
	return "insert into " + t.Name + " (" + strings.Join(names, ", ") + ") select " + strings.Join(marks, ", "), strings.Join(terms, " and "), args, nil
}

// Set is what an update sets, "column = argument, ...", and its arguments.
func (t *Table[T]) Set(d *Dialect, record *T) (set string, args []any, err error) {
	changes := strings.Fields(t.Changes)
	at := map[string]any{}
	for _, c := range t.columns(record) {
		at[c.Name] = c.Place
	}
	for i, name := range changes {
		v, err := value(at[name])
		if err != nil {
			return "", nil, fmt.Errorf("%s: %w", name, err)
		}
		args = append(args, d.Args(v)...)
		changes[i] = name + " = " + d.Mark(len(args))
	}
	return strings.Join(changes, ", "), args, nil
}

// crossing is a place whose column holds something else than Go does.
type crossing interface{ value() (any, error) }

func value(place any) (any, error) {
	if c, ok := place.(crossing); ok {
		return c.value()
	}
	v := reflect.ValueOf(place)
	if v.Kind() == reflect.Pointer {
		v = v.Elem()
	}
	return v.Interface(), nil
}

// moment scans a column of an instant, Unix milliseconds or a database's own, into UTC.
type moment struct{ into *time.Time }

// Moment is where a column of an instant is scanned to.
func Moment(into *time.Time) any { return moment{into} }

func (m moment) Scan(v any) error {
	switch t := v.(type) {
	case int64:
		*m.into = time.UnixMilli(t).UTC()
	case time.Time:
		*m.into = t.UTC()
	default:
		return fmt.Errorf("a time is stored as %T", v)
	}
	return nil
}

type momentOrNull struct{ into **time.Time }

// MomentOrNull is where a column that may be null is scanned to.
func MomentOrNull(into **time.Time) any { return momentOrNull{into} }

func (m momentOrNull) Scan(v any) error {
	if *m.into = nil; v == nil {
		return nil
	}
	*m.into = new(time.Time)
	return moment{*m.into}.Scan(v)
}

// document is a JSON document as it was written, in a column of text; null for none.
type document struct{ into *json.RawMessage }

func (d document) value() (any, error) { return string(*d.into), nil }

func (d document) Scan(v any) error {
	text, err := textOf(v)
	if *d.into = nil; v != nil {
		*d.into = json.RawMessage(text)
	}
	return err
}

// encoded is a value that its column holds as JSON in text.
type encoded struct{ into any }

func (e encoded) value() (any, error) {
	text, err := json.Marshal(e.into)
	return string(text), err
}

func (e encoded) Scan(v any) error {
	text, err := textOf(v)
	if err != nil {
		return err
	}
	return json.Unmarshal([]byte(text), e.into)
}

// words are a list of single words in a column of text.
type words struct{ into *[]string }

func (w words) value() (any, error) { return strings.Join(*w.into, " "), nil }

func (w words) Scan(v any) error {
	text, err := textOf(v)
	*w.into = strings.Fields(text)
	return err
}

func textOf(v any) (string, error) {
	switch t := v.(type) {
	case nil:
		return "", nil
	case string:
		return t, nil
	case []byte:
		return string(t), nil
	}
	return "", fmt.Errorf("a text is stored as %T", v)
}

// countOrNull is a count of which 0 is kept as null.
type countOrNull struct{ into *int }

func (c countOrNull) value() (any, error) {
	if *c.into == 0 {
		return nil, nil
	}
	return *c.into, nil
}

func (c countOrNull) Scan(v any) error {
	n, ok := v.(int64)
	if !ok && v != nil {
		return fmt.Errorf("a count is stored as %T", v)
	}
	*c.into = int(n)
	return nil
}
