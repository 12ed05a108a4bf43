package postgres

import (
	"context"
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
)

// Molds implements store.Registers.
func (r *registers) Molds() store.Molds { return molds{r} }

type molds struct{ session }

const moldColumns = `id, dealer_id, version, tag, configuration_id, part, class, fingerprint, hatch, long_side, short_side, least_radius, face,
	remaining_pulls, pulls, state, location, note, created_at, updated_at`

func scanMold(rows pgx.Rows) (m record.Mold, err error) {
	var face string
	err = rows.Scan(&m.ID, &m.DealerID, &m.Version, &m.Tag, &m.ConfigurationID, &m.Part, &m.Class, &m.Fingerprint, &m.Set, &m.Long, &m.Short, &m.LeastRadius, &face,
		&m.RemainingPulls, &m.Pulls, &m.State, &m.Location, &m.Note, &m.CreatedAt, &m.UpdatedAt)
	inUTC(&m.CreatedAt, &m.UpdatedAt)
	m.Face = json.RawMessage(face)
	return m, err
}

// usable narrows to the molds that the scope may have parts from.
func (c *conditions) usable(scope store.Scope) {
	if !OwnFilters {
		return
	}
	switch dealer := scope.Dealer(); {
	case scope.Whole():
	case dealer != nil:
		c.add("(dealer_id = $?::uuid or dealer_id is null)", *dealer)
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
	var a added
	err := r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select ($2::uuid is null or exists (select 1 from dealers where id = $2::uuid))
			   and ($5::uuid is null or exists (select 1 from configurations where id = $5::uuid)) as there
		), thin as (
			insert into molds (`+moldColumns+`, strip)
			select $1::uuid, $2::uuid, $3::integer, $4::text, $5::uuid, $6::text, $7::text, $8::text, $9::text, $10::double precision, $11::double precision,
				$12::double precision, $13::text, $14::integer, $15::integer, $16::text, $17::text, $18::text, $19::timestamptz, $20::timestamptz, $21::integer
			from owner where owner.there
			on conflict do nothing
			returning id
		)
		select owner.there, (select count(*) from thin) from owner`,
		m.ID, m.DealerID, m.Version, m.Tag, m.ConfigurationID, m.Part, m.Class, m.Fingerprint, m.Set, m.Long, m.Short, m.LeastRadius, string(m.Face),
		m.RemainingPulls, m.Pulls, string(m.State), m.Location, m.Note, record.Moment(m.CreatedAt), record.Moment(m.UpdatedAt), register.Strip(m.Long))
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r molds) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (m record.Mold, err error) {
	where := new(conditions)
	where.usable(scope)
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&m, scanMold), "select "+moldColumns+" from molds"+where.String(), where.args...)
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
	return r.done(ctx, what, versioned(ctx, r, scope, "molds", m.ID, expected,
		`version = $?::integer, tag = $?::text, remaining_pulls = $?::integer, pulls = $?::integer, state = $?::text, location = $?::text, note = $?::text,
		updated_at = $?::timestamptz`,
		m.Version, m.Tag, m.RemainingPulls, m.Pulls, string(m.State), m.Location, m.Note, record.Moment(m.UpdatedAt)))
}

func (r molds) Exact(ctx context.Context, scope store.Scope, fingerprints []string) (items []record.Mold, err error) {
	where := new(conditions)
	where.usable(scope)
	where.add(standing)
	where.add("fingerprint = any($?::text[])", fingerprints)
	err = r.query(ctx, scope, every(&items, scanMold), "select "+moldColumns+" from molds"+where.String()+" order by remaining_pulls desc, id", where.args...)
	return items, r.done(ctx, "find exact molds", err)
}

func (r molds) Near(ctx context.Context, scope store.Scope, b store.MoldBounds, limit int) (items []record.Mold, err error) {
	query, args := nearMolds(scope, b, limit)
	err = r.query(ctx, scope, every(&items, scanMold), query, args...)
	return items, r.done(ctx, "find near molds", err)
}

// nearMolds is the query of Near.
func nearMolds(scope store.Scope, b store.MoldBounds, limit int) (query string, args []any) {
	where := new(conditions)
	where.usable(scope)
	where.add(standing)
	where.add("class = $?::text", b.Class)
	where.add("strip = any($?::integer[])", b.Strips)
	where.add("short_side between $?::double precision and $?::double precision", b.ShortLeast, b.ShortMost)
	where.add("long_side between $?::double precision and $?::double precision", b.LongLeast, b.LongMost)
	n := len(where.args)
	return "select " + moldColumns + " from molds" + where.String() +
			fmt.Sprintf(" order by greatest(abs(long_side - $%d::double precision), abs(short_side - $%d::double precision)), id limit ", n+1, n+2) + strconv.Itoa(max(limit, 0)),
		append(where.args, (b.LongLeast+b.LongMost)/2, (b.ShortLeast+b.ShortMost)/2)
}

func (r molds) OfSets(ctx context.Context, scope store.Scope, sets []string) (items []record.Mold, err error) {
	where := new(conditions)
	where.usable(scope)
	where.add(standing)
	where.add("hatch = any($?::text[])", sets)
	err = r.query(ctx, scope, every(&items, scanMold), "select "+moldColumns+" from molds"+where.String()+" order by hatch, part, remaining_pulls desc, id", where.args...)
	return items, r.done(ctx, "find molds of sets", err)
}

func (r molds) List(ctx context.Context, scope store.Scope, f store.MoldFilter, page store.Page) (store.Listing[record.Mold], error) {
	where := new(conditions)
	where.usable(scope)
	if f.DealerID != nil {
		where.add("dealer_id = $?::uuid", *f.DealerID)
	}
	for _, equal := range []struct{ column, value string }{{"state", string(f.State)}, {"part", f.Part}, {"hatch", f.Set}} {
		if equal.value != "" {
			where.add(equal.column+" = $?::text", equal.value)
		}
	}
	return list(ctx, r, "molds", scope, "select "+moldColumns+" from molds", where, page, f.Place(scope), scanMold,
		func(m record.Mold) store.Position { return store.Position{CreatedAt: m.CreatedAt, ID: m.ID} })
}
