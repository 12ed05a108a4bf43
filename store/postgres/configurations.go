package postgres

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

type configurations struct{ session }

const configurationColumns = `id, dealer_id, digest, units, pattern, verdict, name, reference, supersedes, created_at,
	engine_revision, catalog_revision, price_book_revision`

func configurationFields(c *record.Configuration) []any {
	return []any{&c.ID, &c.DealerID, &c.Digest, &c.Units, &c.Pattern, &c.Verdict, &c.Name, &c.Reference, &c.Supersedes, &c.CreatedAt,
		&c.Revision.Engine, &c.Revision.Catalog, &c.Revision.PriceBook}
}

func scanConfiguration(r pgx.Rows) (c record.Configuration, err error) {
	err = r.Scan(configurationFields(&c)...)
	inUTC(&c.CreatedAt)
	return c, err
}

func (r configurations) Insert(ctx context.Context, scope store.Scope, c record.Configuration) error {
	what := fmt.Sprintf("insert configuration %v", c.ID)
	if !scope.Covers(c.DealerID) {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckConfiguration(c); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	parts, err := store.Parts(c.Derivation)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	if c.Derivation == nil {
		parts = nil
	}
	hashes, bodies := make([]string, len(parts)), make([][]byte, len(parts))
	for i, p := range parts {
		hashes[i], bodies[i] = p.Hash, p.Body
	}
	// One statement, one round trip: what it refers to, the thin row, the
	// documents. A part that is there already is held, so that it is not removed
	// meanwhile.
	var a added
	err = r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select ($2::uuid is null or exists (select 1 from dealers where id = $2::uuid))
			   and ($9::uuid is null or exists (select 1 from configurations where id = $9::uuid and dealer_id is not distinct from $2::uuid)) as there
		), thin as (
			insert into configurations (`+configurationColumns+`)
			select $1::uuid, $2::uuid, $3::text, $4::text, $5::text, $6::text, $7::text, $8::text, $9::uuid, $10::timestamptz, $11::text, $12::text, $13::text
			from owner where owner.there
			on conflict do nothing
			returning id
		), documents as (
			insert into configuration_documents (configuration_id, dealer_id, schema_version, requested, completed, derivation)
			select thin.id, $2::uuid, $14::integer, $15::text, $16::text, null from thin
		), parts as (
			insert into derivation_parts (owner, hash, dealer_id, body)
			select distinct on (p.hash) $17::text, p.hash, $2::uuid, p.body from thin, unnest($18::text[], $19::bytea[]) p (hash, body) order by p.hash
			on conflict (owner, hash) do update set used = derivation_parts.used + 1
		), its as (
			insert into configuration_parts (configuration_id, place, owner, hash, dealer_id)
			select thin.id, p.place - 1, $17::text, p.hash, $2::uuid from thin, unnest($18::text[]) with ordinality p (hash, place)
		)
		select owner.there, (select count(*) from thin) from owner`,
		c.ID, c.DealerID, c.Digest, c.Units, c.Pattern, c.Verdict, c.Name, c.Reference, c.Supersedes, record.Moment(c.CreatedAt),
		c.Revision.Engine, c.Revision.Catalog, c.Revision.PriceBook,
		c.SchemaVersion, string(c.Requested), string(c.Completed), store.PartsOwner(c.DealerID), hashes, bodies)
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r configurations) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (c record.Configuration, err error) {
	where := new(conditions)
	where.owned(scope, "c.dealer_id")
	where.add("c.id = $?::uuid", id)
	err = r.query(ctx, scope, one(&c, func(rows pgx.Rows) (c record.Configuration, err error) {
		var requested, completed string
		var derivation *string
		err = rows.Scan(append(configurationFields(&c), &c.SchemaVersion, &requested, &completed, &derivation)...)
		inUTC(&c.CreatedAt)
		c.Requested, c.Completed = json.RawMessage(requested), json.RawMessage(completed)
		if derivation != nil {
			c.Derivation = json.RawMessage(*derivation)
		}
		return c, err
	}), `select c.id, c.dealer_id, digest, units, pattern, verdict, name, reference, supersedes, created_at,
			engine_revision, catalog_revision, price_book_revision, schema_version, requested, completed, derivation
		from configurations c join configuration_documents d on d.configuration_id = c.id`+where.String(), where.args...)
	var bodies [][]byte
	if err == nil && c.Derivation == nil { // else it is from before it was kept in parts
		err = r.query(ctx, scope, func(rows pgx.Rows) (err error) {
			bodies, err = pgx.CollectRows(rows, pgx.RowTo[[]byte])
			return err
		}, `select body from configuration_parts c join derivation_parts d on d.owner = c.owner and d.hash = c.hash
			where c.configuration_id = $1::uuid order by c.place`, id)
	}
	if err == nil && len(bodies) > 0 {
		c.Derivation, err = store.Whole(bodies)
	}
	return c, r.done(ctx, fmt.Sprintf("get configuration %v", id), err)
}

func (r configurations) List(ctx context.Context, scope store.Scope, f store.ConfigurationFilter, page store.Page) (store.Listing[record.Configuration], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = $?::uuid", *f.DealerID)
	}
	for _, equal := range []struct{ column, value string }{
		{"pattern", f.Pattern}, {"verdict", f.Verdict}, {"digest", f.Digest}, {"reference", f.Reference},
	} {
		if equal.value != "" {
			where.add(equal.column+" = $?::text", equal.value)
		}
	}
	if !f.CreatedFrom.IsZero() {
		where.add("created_at >= $?::timestamptz", record.Moment(f.CreatedFrom))
	}
	if !f.CreatedBefore.IsZero() {
		where.add("created_at < $?::timestamptz", record.Moment(f.CreatedBefore))
	}
	return list(ctx, r, "configurations", scope, "select "+configurationColumns+" from configurations", where, page, f.Place(scope), scanConfiguration,
		func(c record.Configuration) store.Position { return store.Position{CreatedAt: c.CreatedAt, ID: c.ID} })
}
