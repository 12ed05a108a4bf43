package postgres

import (
	"context"
	"fmt"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Molds implements store.Registers.
func (r *registers) Molds() store.Molds { return molds{r} }

type molds struct{ session }

// standing is what the partial indexes hold.
const standing = "state <> 'retired' and remaining_pulls > 0"

func (r molds) Insert(ctx context.Context, scope store.Scope, m record.Mold) error {
	what := fmt.Sprintf("insert mold %v", m.ID)
	if err := store.Admit(what, scope.Whole(), store.CheckMold(m)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r, scope, table.Molds, &m, table.Column{Name: "strip", Type: "integer", Place: register.Strip(m.Long)}))
}

func (r molds) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (m record.Mold, err error) {
	where := narrow().Usable(scope).Add("id = ?", id)
	m, err = find(ctx, r, scope, table.Molds, where, "")
	return m, r.done(ctx, fmt.Sprintf("get mold %v", id), err)
}

func (r molds) Update(ctx context.Context, scope store.Scope, m record.Mold, expected int) error {
	what := fmt.Sprintf("update mold %v", m.ID)
	if err := store.Admit(what, scope.Whole(), store.CheckMold(m)); err != nil {
		return err
	}
	// A tag that is taken is found before the index refuses it, which would end a
	// transaction.
	if m.Tag != "" && m.State != record.MoldRetired {
		var taken bool
		err := r.query(ctx, scope, one(&taken, func(rows pgx.Rows) (b bool, err error) { return b, rows.Scan(&b) }),
			"select exists (select 1 from molds where tag = $1::text and id <> $2::uuid and state <> 'retired')", m.Tag, m.ID)
		if err == nil && taken {
			err = store.ErrConflict
		}
		if err != nil {
			return r.done(ctx, what, err)
		}
	}
	return r.done(ctx, what, update(ctx, r, scope, table.Molds, &m, m.ID, expected))
}

func (r molds) Exact(ctx context.Context, scope store.Scope, fingerprints []string) (items []record.Mold, err error) {
	where := narrow().Usable(scope).Add(standing).Add("fingerprint = any(?::text[])", fingerprints)
	items, err = all(ctx, r, scope, table.Molds, where, " order by remaining_pulls desc, id")
	return items, r.done(ctx, "find exact molds", err)
}

func (r molds) Near(ctx context.Context, scope store.Scope, b store.MoldBounds, limit int) (items []record.Mold, err error) {
	query, args := nearMolds(scope, b, limit)
	err = r.query(ctx, scope, every(&items, scanRow(table.Molds)), query, args...)
	return items, r.done(ctx, "find near molds", err)
}

// nearMolds is the query of Near.
func nearMolds(scope store.Scope, b store.MoldBounds, limit int) (query string, args []any) {
	where := narrow().Usable(scope).Add(standing).Add("class = ?", b.Class).Add("strip = any(?::integer[])", b.Strips).Add("short_side between ? and ?", b.ShortLeast, b.ShortMost).Add("long_side between ? and ?", b.LongLeast, b.LongMost)
	n := len(where.Args)
	return "select " + table.Molds.List + " from molds" + where.String() +
			fmt.Sprintf(" order by greatest(abs(long_side - $%d::double precision), abs(short_side - $%d::double precision)), id limit ", n+1, n+2) + strconv.Itoa(max(limit, 0)),
		append(where.Args, (b.LongLeast+b.LongMost)/2, (b.ShortLeast+b.ShortMost)/2)
}

func (r molds) OfSets(ctx context.Context, scope store.Scope, sets []string) (items []record.Mold, err error) {
	where := narrow().Usable(scope).Add(standing).Add("hatch = any(?::text[])", sets)
	items, err = all(ctx, r, scope, table.Molds, where, " order by hatch, part, remaining_pulls desc, id")
	return items, r.done(ctx, "find molds of sets", err)
}

func (r molds) List(ctx context.Context, scope store.Scope, f store.MoldFilter, page store.Page) (store.Listing[record.Mold], error) {
	where := table.NarrowMolds(narrow().Usable(scope), f)
	return list(ctx, r, scope, table.Molds, where, page, f.Place(scope))
}
