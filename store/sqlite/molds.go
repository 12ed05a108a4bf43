package sqlite

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
)

// Molds implements store.Registers.
func (r *registers) Molds() store.Molds { return molds{r} }

type molds struct{ *registers }

const moldColumns = `id, dealer_id, version, tag, configuration_id, part, class, fingerprint, hatch, long_side, short_side, least_radius, face,
	remaining_pulls, pulls, state, location, note, created_at, updated_at`

func scanMold(r row) (m record.Mold, err error) {
	var face string
	err = r.Scan(&m.ID, &m.DealerID, &m.Version, &m.Tag, &m.ConfigurationID, &m.Part, &m.Class, &m.Fingerprint, &m.Set, &m.Long, &m.Short, &m.LeastRadius, &face,
		&m.RemainingPulls, &m.Pulls, &m.State, &m.Location, &m.Note, stamp{&m.CreatedAt}, stamp{&m.UpdatedAt})
	m.Face = []byte(face)
	return m, err
}

// usable narrows to the molds that the scope may have parts from.
func (c *conditions) usable(scope store.Scope) {
	switch dealer := scope.Dealer(); {
	case scope.Whole():
	case dealer != nil:
		c.add("(dealer_id = ? or dealer_id is null)", dealer.String())
	default:
		c.owned(scope, "dealer_id")
	}
}

// standing is what the partial indexes hold.
const standing = "state <> 'retired' and remaining_pulls > 0"

func (r molds) Insert(ctx context.Context, scope store.Scope, m record.Mold) error {
	what := fmt.Sprintf("insert mold %v", m.ID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckMold(m); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	_, err := r.write.ExecContext(ctx, "insert into molds ("+moldColumns+", strip) values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		m.ID.String(), idOrNull(m.DealerID), m.Version, m.Tag, idOrNull(m.ConfigurationID), m.Part, m.Class, m.Fingerprint, m.Set, m.Long, m.Short, m.LeastRadius, string(m.Face),
		m.RemainingPulls, m.Pulls, string(m.State), m.Location, m.Note, millis(m.CreatedAt), millis(m.UpdatedAt), register.Strip(m.Long))
	return r.done(ctx, what, err)
}

func (r molds) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Mold, error) {
	where := new(conditions)
	where.usable(scope)
	where.add("id = ?", id.String())
	m, err := scanMold(r.read.QueryRowContext(ctx, "select "+moldColumns+" from molds"+where.String(), where.args...))
	return m, r.done(ctx, fmt.Sprintf("get mold %v", id), err)
}

func (r molds) Update(ctx context.Context, scope store.Scope, m record.Mold, expected int) error {
	what := fmt.Sprintf("update mold %v", m.ID)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckMold(m); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return r.done(ctx, what, r.versioned(ctx, scope, "molds", m.ID, expected,
		"version = ?, tag = ?, remaining_pulls = ?, pulls = ?, state = ?, location = ?, note = ?, updated_at = ?",
		m.Version, m.Tag, m.RemainingPulls, m.Pulls, string(m.State), m.Location, m.Note, millis(m.UpdatedAt)))
}

// among narrows to one of the values.
func (c *conditions) among(column string, values ...any) {
	if len(values) == 0 {
		c.add("false")
		return
	}
	c.add(column+" in (?"+strings.Repeat(", ?", len(values)-1)+")", values...)
}

func anys[T any](list []T) []any {
	out := make([]any, len(list))
	for i, v := range list {
		out[i] = v
	}
	return out
}

func (r molds) Exact(ctx context.Context, scope store.Scope, fingerprints []string) ([]record.Mold, error) {
	where := new(conditions)
	where.usable(scope)
	where.add(standing)
	where.among("fingerprint", anys(fingerprints)...)
	items, err := collect(ctx, r.read, "select "+moldColumns+" from molds"+where.String()+" order by remaining_pulls desc, id", where.args, scanMold)
	return items, r.done(ctx, "find exact molds", err)
}

func (r molds) Near(ctx context.Context, scope store.Scope, b store.MoldBounds, limit int) ([]record.Mold, error) {
	query, args := nearMolds(scope, b, limit)
	items, err := collect(ctx, r.read, query, args, scanMold)
	return items, r.done(ctx, "find near molds", err)
}

// nearMolds is the query of Near.
func nearMolds(scope store.Scope, b store.MoldBounds, limit int) (query string, args []any) {
	where := new(conditions)
	where.usable(scope)
	where.add(standing)
	where.add("class = ?", b.Class)
	where.among("strip", anys(b.Strips)...)
	where.add("short_side between ? and ?", b.ShortLeast, b.ShortMost)
	where.add("long_side between ? and ?", b.LongLeast, b.LongMost)
	return "select " + moldColumns + " from molds indexed by molds_by_size" + where.String() + " order by max(abs(long_side - ?), abs(short_side - ?)), id limit ?",
		append(where.args, (b.LongLeast+b.LongMost)/2, (b.ShortLeast+b.ShortMost)/2, max(limit, 0))
}

func (r molds) OfSets(ctx context.Context, scope store.Scope, sets []string) ([]record.Mold, error) {
	where := new(conditions)
	where.usable(scope)
	where.add(standing)
	where.among("hatch", anys(sets)...)
	items, err := collect(ctx, r.read, "select "+moldColumns+" from molds"+where.String()+" order by hatch, part, remaining_pulls desc, id", where.args, scanMold)
	return items, r.done(ctx, "find molds of sets", err)
}

func (r molds) List(ctx context.Context, scope store.Scope, f store.MoldFilter, page store.Page) (store.Listing[record.Mold], error) {
	where := new(conditions)
	where.usable(scope)
	if f.DealerID != nil {
		where.add("dealer_id = ?", f.DealerID.String())
	}
	for _, equal := range []struct{ column, value string }{{"state", string(f.State)}, {"part", f.Part}, {"hatch", f.Set}} {
		if equal.value != "" {
			where.add(equal.column+" = ?", equal.value)
		}
	}
	return list(ctx, r.registers, "molds", "select "+moldColumns+" from molds", where, page, f.Place(scope), scanMold,
		func(m record.Mold) store.Position { return store.Position{CreatedAt: m.CreatedAt, ID: m.ID} })
}
