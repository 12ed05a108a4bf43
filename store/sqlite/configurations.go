package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

type configurations struct{ *registers }

const configurationColumns = `id, dealer_id, digest, units, pattern, verdict, name, reference, supersedes, created_at,
	engine_revision, catalog_revision, price_book_revision`

func configurationFields(c *record.Configuration) []any {
	return []any{&c.ID, &c.DealerID, &c.Digest, &c.Units, &c.Pattern, &c.Verdict, &c.Name, &c.Reference, &c.Supersedes, stamp{&c.CreatedAt},
		&c.Revision.Engine, &c.Revision.Catalog, &c.Revision.PriceBook}
}

func scanConfiguration(r row) (c record.Configuration, err error) {
	err = r.Scan(configurationFields(&c)...)
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
	err = r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, "insert into configurations ("+configurationColumns+`)
			select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13
			where (?2 is null or exists (select 1 from dealers where id = ?2))
			  and (?9 is null or exists (select 1 from configurations where id = ?9 and dealer_id is ?2))`,
			c.ID.String(), idOrNull(c.DealerID), c.Digest, c.Units, c.Pattern, c.Verdict, c.Name, c.Reference, idOrNull(c.Supersedes), millis(c.CreatedAt),
			c.Revision.Engine, c.Revision.Catalog, c.Revision.PriceBook))
		if err != nil {
			return err
		}
		if n == 0 {
			return fmt.Errorf("its dealer or the configuration it supersedes: %w", store.ErrNotFound)
		}
		_, err = w.ExecContext(ctx, `insert into configuration_documents (configuration_id, schema_version, requested, completed, derivation)
			values (?, ?, ?, ?, null)`, c.ID.String(), c.SchemaVersion, string(c.Requested), string(c.Completed))
		owner := store.PartsOwner(c.DealerID)
		for place, p := range parts {
			if err == nil {
				_, err = w.ExecContext(ctx, "insert into derivation_parts (owner, hash, body) values (?, ?, ?) on conflict do nothing", owner, p.Hash, p.Body)
			}
			if err == nil {
				_, err = w.ExecContext(ctx, "insert into configuration_parts (configuration_id, place, owner, hash) values (?, ?, ?, ?)", c.ID.String(), place, owner, p.Hash)
			}
		}
		return err
	})
	return r.done(ctx, what, err)
}

func (r configurations) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (c record.Configuration, err error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	var requested, completed string
	var derivation sql.NullString
	err = r.read.QueryRowContext(ctx, "select "+configurationColumns+`, schema_version, requested, completed, derivation
		from configurations join configuration_documents on configuration_id = id`+where.String(), where.args...).
		Scan(append(configurationFields(&c), &c.SchemaVersion, &requested, &completed, &derivation)...)
	if err != nil {
		return record.Configuration{}, r.done(ctx, fmt.Sprintf("get configuration %v", id), err)
	}
	c.Requested, c.Completed = json.RawMessage(requested), json.RawMessage(completed)
	if derivation.Valid { // from before it was kept in parts
		c.Derivation = json.RawMessage(derivation.String)
		return c, nil
	}
	bodies, err := collect(ctx, r.read, `select body from configuration_parts c join derivation_parts d on d.owner = c.owner and d.hash = c.hash
		where c.configuration_id = ? order by c.place`, []any{id.String()}, func(r row) (b []byte, err error) { err = r.Scan(&b); return b, err })
	if err == nil && len(bodies) > 0 {
		c.Derivation, err = store.Whole(bodies)
	}
	if err != nil {
		return record.Configuration{}, r.done(ctx, fmt.Sprintf("get configuration %v", id), err)
	}
	return c, nil
}

func (r configurations) List(ctx context.Context, scope store.Scope, f store.ConfigurationFilter, page store.Page) (store.Listing[record.Configuration], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = ?", f.DealerID.String())
	}
	for _, equal := range []struct{ column, value string }{
		{"pattern", f.Pattern}, {"verdict", f.Verdict}, {"digest", f.Digest}, {"reference", f.Reference},
	} {
		if equal.value != "" {
			where.add(equal.column+" = ?", equal.value)
		}
	}
	if !f.CreatedFrom.IsZero() {
		where.add("created_at >= ?", millis(f.CreatedFrom))
	}
	if !f.CreatedBefore.IsZero() {
		where.add("created_at < ?", millis(f.CreatedBefore))
	}
	return list(ctx, r.registers, "configurations", "select "+configurationColumns+" from configurations", where, page, f.Place(scope), scanConfiguration,
		func(c record.Configuration) store.Position { return store.Position{CreatedAt: c.CreatedAt, ID: c.ID} })
}
