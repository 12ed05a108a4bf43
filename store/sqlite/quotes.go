package sqlite

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Quotes implements store.Registers.
func (r *registers) Quotes() store.Quotes { return quotes{r} }

type quotes struct{ *registers }

func (r quotes) Insert(ctx context.Context, scope store.Scope, q record.Quote) error {
	what := fmt.Sprintf("insert quote %v", q.ID)
	if err := store.Admit(what, scope.Covers(q.DealerID), store.CheckQuote(q)); err != nil {
		return err
	}
	lines, err := json.Marshal(q.Lines)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	err = r.atomically(ctx, func(w conn) error {
		if err := insert(ctx, w, table.Quotes, &q); err != nil {
			return err
		}
		_, err := w.ExecContext(ctx, "insert into quote_documents (quote_id, schema_version, lines) values (?, ?, ?)", q.ID, q.SchemaVersion, string(lines))
		return err
	})
	return r.done(ctx, what, err)
}

func (r quotes) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (q record.Quote, err error) {
	what := fmt.Sprintf("get quote %v", id)
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	var lines string
	err = table.Quotes.ScanInto(&q, r.read.QueryRowContext(ctx, "select "+table.Quotes.List+", schema_version, lines from quotes join quote_documents on quote_id = id"+where.String(), where.Args...), &q.SchemaVersion, &lines)
	if err == nil {
		err = json.Unmarshal([]byte(lines), &q.Lines)
	}
	if err != nil {
		return record.Quote{}, r.done(ctx, what, err)
	}
	return q, nil
}

func (r quotes) Update(ctx context.Context, scope store.Scope, q record.Quote, expected int) error {
	what := fmt.Sprintf("update quote %v", q.ID)
	if err := store.Admit(what, true, store.CheckQuote(q)); err != nil {
		return err
	}
	return r.done(ctx, what, update(ctx, r.registers, scope, table.Quotes, &q, q.ID, expected))
}

func (r quotes) List(ctx context.Context, scope store.Scope, f store.QuoteFilter, page store.Page) (store.Listing[record.Quote], error) {
	where := table.NarrowQuotes(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r.registers, table.Quotes, where, page, f.Place(scope))
}
