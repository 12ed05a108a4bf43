package postgres

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type configurations struct{ session }

func (r configurations) Insert(ctx context.Context, scope store.Scope, c record.Configuration) error {
	what := fmt.Sprintf("insert configuration %v", c.ID)
	if err := store.Admit(what, scope.Covers(c.DealerID), store.CheckConfiguration(c)); err != nil {
		return err
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
	owner := store.PartsOwner(c.DealerID)
	err = insertWith(ctx, r, scope, table.Configurations, &c, `, documents as (
			insert into configuration_documents (configuration_id, dealer_id, schema_version, requested, completed, derivation)
			select ?::uuid, ?::uuid, ?::integer, ?::text, ?::text, null from added
		), parts as (
			insert into derivation_parts (owner, hash, dealer_id, body)
			select distinct on (p.hash) ?::text, p.hash, ?::uuid, p.body from added, unnest(?::text[], ?::bytea[]) p (hash, body) order by p.hash
			on conflict (owner, hash) do update set used = derivation_parts.used + 1
		), its as (
			insert into configuration_parts (configuration_id, place, owner, hash, dealer_id)
			select ?::uuid, p.place - 1, ?::text, p.hash, ?::uuid from added, unnest(?::text[]) with ordinality p (hash, place)
		)`, []any{c.ID, c.DealerID, c.SchemaVersion, string(c.Requested), string(c.Completed), owner, c.DealerID, hashes, bodies, c.ID, owner, c.DealerID, hashes})
	return r.done(ctx, what, err)
}

func (r configurations) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (c record.Configuration, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	err = r.query(ctx, scope, one(&c, func(rows pgx.Rows) (c record.Configuration, err error) {
		var requested, completed string
		var derivation *string
		err = table.Configurations.ScanInto(&c, rows, &c.SchemaVersion, &requested, &completed, &derivation)
		c.Requested, c.Completed = json.RawMessage(requested), json.RawMessage(completed)
		if derivation != nil {
			c.Derivation = json.RawMessage(*derivation)
		}
		return c, err
	}), "select "+table.Configurations.List+`, schema_version, requested, completed, derivation from configurations
		join (select configuration_id, schema_version, requested, completed, derivation from configuration_documents) d on configuration_id = id`+where.String(), where.Args...)
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
	where := table.NarrowConfigurations(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r, scope, table.Configurations, where, page, f.Place(scope))
}
