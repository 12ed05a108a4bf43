package sqlite

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Quotes implements store.Registers.
func (r *registers) Quotes() store.Quotes { return quotes{r} }

type quotes struct{ *registers }

const quoteColumns = `id, dealer_id, state, version, reference, revises, order_id, engine_revision, catalog_revision, price_book_revision,
	promise, valid_until, total, currency, created_at, updated_at, created_by, created_as`

func quoteFields(q *record.Quote) []any {
	return []any{&q.ID, &q.DealerID, &q.State, &q.Version, &q.Reference, &q.Revises, &q.OrderID,
		&q.Revision.Engine, &q.Revision.Catalog, &q.Revision.PriceBook,
		&q.Promise, stamp{&q.ValidUntil}, &q.Total.Value, &q.Total.Currency, stamp{&q.CreatedAt}, stamp{&q.UpdatedAt}, &q.CreatedBy.KeyID, &q.CreatedBy.Role}
}

func scanQuote(r row) (q record.Quote, err error) {
	err = r.Scan(quoteFields(&q)...)
	return q, err
}

func (r quotes) Insert(ctx context.Context, scope store.Scope, q record.Quote) error {
	what := fmt.Sprintf("insert quote %v", q.ID)
	if !scope.Covers(q.DealerID) {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckQuote(q); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	lines, err := json.Marshal(q.Lines)
	if err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	err = r.atomically(ctx, func(w conn) error {
		n, err := affected(w.ExecContext(ctx, "insert into quotes ("+quoteColumns+`)
			select ?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18
			where (?2 is null or exists (select 1 from dealers where id = ?2))
			  and (?6 is null or exists (select 1 from orders where id = ?6 and dealer_id is ?2))`,
			q.ID.String(), idOrNull(q.DealerID), string(q.State), q.Version, q.Reference, idOrNull(q.Revises), idOrNull(q.OrderID),
			q.Revision.Engine, q.Revision.Catalog, q.Revision.PriceBook, q.Promise, millis(q.ValidUntil), q.Total.Value.String(), q.Total.Currency,
			millis(q.CreatedAt), millis(q.UpdatedAt), idOrNull(q.CreatedBy.KeyID), string(q.CreatedBy.Role)))
		if err != nil {
			return err
		}
		if n == 0 {
			return fmt.Errorf("its dealer or the order it revises: %w", store.ErrNotFound)
		}
		_, err = w.ExecContext(ctx, "insert into quote_documents (quote_id, schema_version, lines) values (?, ?, ?)", q.ID.String(), q.SchemaVersion, string(lines))
		return err
	})
	return r.done(ctx, what, err)
}

func (r quotes) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (q record.Quote, err error) {
	what := fmt.Sprintf("get quote %v", id)
	where := new(conditions)
	where.owned(scope, "dealer_id")
	where.add("id = ?", id.String())
	var lines string
	err = r.read.QueryRowContext(ctx, "select "+quoteColumns+", schema_version, lines from quotes join quote_documents on quote_id = id"+where.String(), where.args...).
		Scan(append(quoteFields(&q), &q.SchemaVersion, &lines)...)
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
	if err := store.CheckQuote(q); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return r.done(ctx, what, r.versioned(ctx, scope, "quotes", q.ID, expected, "state = ?, order_id = ?, version = ?, updated_at = ?",
		string(q.State), idOrNull(q.OrderID), q.Version, millis(q.UpdatedAt)))
}

// versioned changes a row whose version is the expected one. ErrNotFound when it
// is not there, ErrStaleVersion when its version is another.
func (r *registers) versioned(ctx context.Context, scope store.Scope, table string, id uuid.UUID, expected int, set string, values ...any) error {
	return r.atomically(ctx, func(w conn) error {
		where := new(conditions)
		where.owned(scope, "dealer_id")
		where.add("id = ?", id.String())
		var version int
		if err := w.QueryRowContext(ctx, "select version from "+table+where.String(), where.args...).Scan(&version); err != nil {
			return err
		}
		if version != expected {
			return store.ErrStaleVersion
		}
		_, err := w.ExecContext(ctx, "update "+table+" set "+set+where.String(), append(values, where.args...)...)
		return err
	})
}

func (r quotes) List(ctx context.Context, scope store.Scope, f store.QuoteFilter, page store.Page) (store.Listing[record.Quote], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = ?", f.DealerID.String())
	}
	if f.Reference != "" {
		where.add("reference = ?", f.Reference)
	}
	switch f.State {
	case "":
	case record.QuoteOpen:
		where.add("state = 'open' and valid_until > ?", millis(f.At))
	case record.QuoteExpired:
		where.add("state = 'open' and valid_until <= ?", millis(f.At))
	default:
		where.add("state = ?", string(f.State))
	}
	return list(ctx, r.registers, "quotes", "select "+quoteColumns+" from quotes", where, page, f.Place(scope), scanQuote,
		func(q record.Quote) store.Position { return store.Position{CreatedAt: q.CreatedAt, ID: q.ID} })
}
