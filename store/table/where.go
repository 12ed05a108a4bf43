package table

import (
	"reflect"
	"strings"
	"time"

	"hatchwright/store"
)

// Dialect is how an engine writes its statements.
type Dialect struct {
	Mark func(n int) string  // stands for the n-th argument, from 1
	Time func(time.Time) any // a time as its column holds it

	// Casts tells that an argument is to be written with its column's type where a
	// statement does not say by itself.
	Casts bool
	// Owners tells that statements name the owner whose rows they want.
	Owners bool
}

// arg is an argument as the engine's driver takes it.
func (d *Dialect) arg(v any) any {
	switch t := v.(type) {
	case time.Time:
		return d.Time(t)
	case *time.Time:
		if t == nil {
			return nil
		}
		return d.Time(*t)
	}
	return v
}

// Args are arguments as the engine's driver takes them.
func (d *Dialect) Args(values ...any) []any {
	out := make([]any, len(values), len(values)+4)
	for i, v := range values {
		out[i] = d.arg(v)
	}
	return out
}

// Where gathers the terms of a where clause with their arguments. Make one with
// Dialect.Where.
type Where struct {
	dialect *Dialect
	terms   []string
	Args    []any
}

// Where begins a clause that narrows to nothing yet. The arguments given are those of
// the statement before the clause.
func (d *Dialect) Where(before ...any) *Where { return &Where{dialect: d, Args: d.Args(before...)} }

// Text writes a text with ? for each argument, whose arguments follow those in before,
// and returns all of them.
func (d *Dialect) Text(text string, before []any, args ...any) (string, []any) {
	if len(args) == 0 {
		return text, before
	}
	var b strings.Builder
	b.Grow(len(text) + 4*len(args))
	for _, a := range args {
		i := strings.IndexByte(text, '?')
		before = append(before, d.arg(a))
		b.WriteString(text[:i])
		b.WriteString(d.Mark(len(before)))
		text = text[i+1:]
	}
	b.WriteString(text)
	return b.String(), before
}

// Add narrows by a term, which writes ? for each of its arguments.
func (w *Where) Add(term string, args ...any) *Where {
	term, w.Args = w.dialect.Text(term, w.Args, args...)
	w.terms = append(w.terms, term)
	return w
}

// If adds a term with one argument, unless that is the zero value: a filter's field
// that does not narrow.
func (w *Where) If(term string, value any) *Where {
	if !reflect.ValueOf(value).IsZero() {
		w.Add(term, value)
	}
	return w
}

// Owned narrows to what the scope covers of a table with that owner column.
func (w *Where) Owned(scope store.Scope, column string) *Where {
	if !w.dialect.Owners || scope.Whole() {
		return w
	}
	switch dealer := scope.Dealer(); {
	case dealer != nil:
		return w.Add(column+" = ?", *dealer)
	case scope == store.HouseScope():
		return w.Add(column + " is null")
	default:
		return w.Add("false")
	}
}

// Usable narrows to the molds that the scope may have parts from.
func (w *Where) Usable(scope store.Scope) *Where {
	if dealer := scope.Dealer(); w.dialect.Owners && dealer != nil {
		return w.Add("(dealer_id = ? or dealer_id is null)", *dealer)
	}
	return w.Owned(scope, "dealer_id")
}

// ShopOnly narrows to nothing for any other scope than the shop's.
func (w *Where) ShopOnly(scope store.Scope) *Where {
	if !scope.Whole() {
		return w.Add("false")
	}
	return w
}

// After narrows to what comes after the page's cursor in a list from new to old.
func (w *Where) After(page store.Page, place store.Place) error {
	at, ok, err := page.After(place)
	if err == nil && ok {
		w.Add("(created_at, id) < (?, ?)", at.CreatedAt, at.ID)
	}
	return err
}

// Before narrows to the versions before the page's cursor in a list from new to old.
func (w *Where) Before(column string, page store.Page, place store.Place) error {
	at, ok, err := page.After(place)
	if err == nil && ok {
		w.Add(column+" < ?", at.Version())
	}
	return err
}

// String is the clause with " where " before it, "" when nothing narrows.
func (w *Where) String() string {
	switch len(w.terms) {
	case 0:
		return ""
	case 1:
		return " where " + w.terms[0]
	}
	return " where " + strings.Join(w.terms, " and ")
}
