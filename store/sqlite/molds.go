package sqlite

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Molds implements store.Registers.
func (r *registers) Molds() store.Molds { return molds{r} }

type molds struct{ *registers }

// standing is what the partial indexes hold.
const standing = "state <> 'retired' and remaining_pulls > 0"

func (r molds) Insert(ctx context.Context, scope store.Scope, m record.Mold) error {
	what := fmt.Sprintf("insert mold %v", m.ID)
	if err := store.Admit(what, scope.Whole(), store.CheckMold(m)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r.write, table.Molds, &m, table.Column{Name: "strip", Type: "integer", Place: register.Strip(m.Long)}))
}

func (r molds) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Mold, error) {
	where := narrow().Usable(scope).Add("id = ?", id)
	m, err := find(ctx, r.read, table.Molds, where, "")
	return m, r.done(ctx, fmt.Sprintf("get mold %v", id), err)
}

func (r molds) Update(ctx context.Context, scope store.Scope, m record.Mold, expected int) error {
	what := fmt.Sprintf("update mold %v", m.ID)
	if err := store.Admit(what, scope.Whole(), store.CheckMold(m)); err != nil {
		return err
	}
	return r.done(ctx, what, update(ctx, r.registers, scope, table.Molds, &m, m.ID, expected))
}

// among narrows to one of the values.
func among[T any](w *table.Where, column string, values []T) *table.Where {
	if len(values) == 0 {
		return w.Add("false")
	}
	list := make([]any, len(values))
	for i, v := range values {
		list[i] = v
	}
	return w.Add(column+" in (?"+strings.Repeat(", ?", len(values)-1)+")", list...)
}

func (r molds) Exact(ctx context.Context, scope store.Scope, fingerprints []string) ([]record.Mold, error) {
	where := narrow().Usable(scope).Add(standing)
	among(where, "fingerprint", fingerprints)
	items, err := all(ctx, r.read, table.Molds, where, " order by remaining_pulls desc, id")
	return items, r.done(ctx, "find exact molds", err)
}

func (r molds) Near(ctx context.Context, scope store.Scope, b store.MoldBounds, limit int) ([]record.Mold, error) {
	query, args := nearMolds(scope, b, limit)
	items, err := collect(ctx, r.read, query, args, scanRow(table.Molds))
	return items, r.done(ctx, "find near molds", err)
}

// nearMolds is the query of Near.
func nearMolds(scope store.Scope, b store.MoldBounds, limit int) (query string, args []any) {
	where := narrow().Usable(scope).Add(standing).Add("class = ?", b.Class)
	among(where, "strip", b.Strips)
	where.Add("short_side between ? and ?", b.ShortLeast, b.ShortMost)
	where.Add("long_side between ? and ?", b.LongLeast, b.LongMost)
	return "select " + table.Molds.List + " from molds indexed by molds_by_size" + where.String() + " order by max(abs(long_side - ?), abs(short_side - ?)), id limit ?",
		append(where.Args, (b.LongLeast+b.LongMost)/2, (b.ShortLeast+b.ShortMost)/2, max(limit, 0))
}

func (r molds) OfSets(ctx context.Context, scope store.Scope, sets []string) ([]record.Mold, error) {
	where := narrow().Usable(scope).Add(standing)
	among(where, "hatch", sets)
	items, err := all(ctx, r.read, table.Molds, where, " order by hatch, part, remaining_pulls desc, id")
	return items, r.done(ctx, "find molds of sets", err)
}

func (r molds) List(ctx context.Context, scope store.Scope, f store.MoldFilter, page store.Page) (store.Listing[record.Mold], error) {
	where := table.NarrowMolds(narrow().Usable(scope), f)
	return list(ctx, r.registers, table.Molds, where, page, f.Place(scope))
}
