package sqlite

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type configurations struct{ *registers }

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
	err = r.atomically(ctx, func(w conn) error {
		if err := insert(ctx, w, table.Configurations, &c); err != nil {
			return err
		}
		_, err := w.ExecContext(ctx, `insert into configuration_documents (configuration_id, schema_version, requested, completed, derivation)
			values (?, ?, ?, ?, null)`, c.ID, c.SchemaVersion, string(c.Requested), string(c.Completed))
		owner := store.PartsOwner(c.DealerID)
		for place, p := range parts {
			if err == nil {
				_, err = w.ExecContext(ctx, "insert into derivation_parts (owner, hash, body) values (?, ?, ?) on conflict do nothing", owner, p.Hash, p.Body)
			}
			if err == nil {
				_, err = w.ExecContext(ctx, "insert into configuration_parts (configuration_id, place, owner, hash) values (?, ?, ?, ?)", c.ID, place, owner, p.Hash)
			}
		}
		return err
	})
	return r.done(ctx, what, err)
}

func (r configurations) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (c record.Configuration, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	var requested, completed string
	var derivation sql.NullString
	err = table.Configurations.ScanInto(&c, r.read.QueryRowContext(ctx, "select "+table.Configurations.List+`, schema_version, requested, completed, derivation
		from configurations join configuration_documents on configuration_id = id`+where.String(), where.Args...),
		&c.SchemaVersion, &requested, &completed, &derivation)
	if err != nil {
		return record.Configuration{}, r.done(ctx, fmt.Sprintf("get configuration %v", id), err)
	}
	c.Requested, c.Completed = json.RawMessage(requested), json.RawMessage(completed)
	if derivation.Valid { // from before it was kept in parts
		c.Derivation = json.RawMessage(derivation.String)
		return c, nil
	}
	bodies, err := collect(ctx, r.read, `select body from configuration_parts c join derivation_parts d on d.owner = c.owner and d.hash = c.hash
		where c.configuration_id = ? order by c.place`, []any{id}, func(r table.Row) (b []byte, err error) { err = r.Scan(&b); return b, err })
	if err == nil && len(bodies) > 0 {
		c.Derivation, err = store.Whole(bodies)
	}
	if err != nil {
		return record.Configuration{}, r.done(ctx, fmt.Sprintf("get configuration %v", id), err)
	}
	return c, nil
}

func (r configurations) List(ctx context.Context, scope store.Scope, f store.ConfigurationFilter, page store.Page) (store.Listing[record.Configuration], error) {
	where := table.NarrowConfigurations(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r.registers, table.Configurations, where, page, f.Place(scope))
}
