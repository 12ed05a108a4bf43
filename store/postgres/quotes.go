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

// Quotes implements store.Registers.
func (r *registers) Quotes() store.Quotes { return quotes{r} }

type quotes struct{ session }

func (r quotes) Insert(ctx context.Context, scope store.Scope, q record.Quote) error {
	what := fmt.Sprintf("insert quote %v", q.ID)
	if err := store.Admit(what, scope.Covers(q.DealerID), store.CheckQuote(q)); err != nil {
		return err
	}
	lines, err := json.Marshal(q.Lines)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	err = insertWith(ctx, r, scope, table.Quotes, &q, `, document as (
			insert into quote_documents (quote_id, dealer_id, schema_version, lines) select ?::uuid, ?::uuid, ?::integer, ?::text from added
		)`, []any{q.ID, q.DealerID, q.SchemaVersion, string(lines)})
	return r.done(ctx, what, err)
}

func (r quotes) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (q record.Quote, err error) {
	where := narrow().Owned(scope, "dealer_id").Add("id = ?", id)
	err = r.query(ctx, scope, one(&q, func(rows pgx.Rows) (q record.Quote, err error) {
		var lines string
		if err = table.Quotes.ScanInto(&q, rows, &q.SchemaVersion, &lines); err != nil {
			return q, err
		}
		return q, json.Unmarshal([]byte(lines), &q.Lines)
	}), "select "+table.Quotes.List+`, schema_version, lines from quotes
		join (select quote_id, schema_version, lines from quote_documents) d on quote_id = id`+where.String(), where.Args...)
	return q, r.done(ctx, fmt.Sprintf("get quote %v", id), err)
}

func (r quotes) Update(ctx context.Context, scope store.Scope, q record.Quote, expected int) error {
	what := fmt.Sprintf("update quote %v", q.ID)
	if err := store.Admit(what, true, store.CheckQuote(q)); err != nil {
		return err
	}
	return r.done(ctx, what, update(ctx, r, scope, table.Quotes, &q, q.ID, expected))
}

func (r quotes) List(ctx context.Context, scope store.Scope, f store.QuoteFilter, page store.Page) (store.Listing[record.Quote], error) {
	where := table.NarrowQuotes(narrow().Owned(scope, "dealer_id"), f)
	return list(ctx, r, scope, table.Quotes, where, page, f.Place(scope))
}
