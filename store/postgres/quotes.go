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

// Quotes implements store.Registers.
func (r *registers) Quotes() store.Quotes { return quotes{r} }

type quotes struct{ session }

const quoteColumns = `id, dealer_id, state, version, reference, revises, order_id, engine_revision, catalog_revision, price_book_revision,
	promise, valid_until, total, currency, created_at, updated_at, created_by, created_as`

func quoteFields(q *record.Quote) []any {
	return []any{&q.ID, &q.DealerID, &q.State, &q.Version, &q.Reference, &q.Revises, &q.OrderID,
		&q.Revision.Engine, &q.Revision.Catalog, &q.Revision.PriceBook,
		&q.Promise, &q.ValidUntil, &q.Total.Value, &q.Total.Currency, &q.CreatedAt, &q.UpdatedAt, &q.CreatedBy.KeyID, &q.CreatedBy.Role}
}

func scanQuote(rows pgx.Rows) (q record.Quote, err error) {
	err = rows.Scan(quoteFields(&q)...)
	inUTC(&q.ValidUntil, &q.CreatedAt, &q.UpdatedAt)
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
	var a added
	err = r.query(ctx, scope, one(&a, scanAdded), `with owner as (
			select ($2::uuid is null or exists (select 1 from dealers where id = $2::uuid))
			   and ($6::uuid is null or exists (select 1 from orders where id = $6::uuid and dealer_id is not distinct from $2::uuid)) as there
		), thin as (
			insert into quotes (`+quoteColumns+`)
			select $1::uuid, $2::uuid, $3::text, $4::integer, $5::text, $6::uuid, $7::uuid, $8::text, $9::text, $10::text,
				$11::text, $12::timestamptz, $13::text, $14::text, $15::timestamptz, $16::timestamptz, $17::uuid, $18::text
			from owner where owner.there
			on conflict do nothing
			returning id
		), document as (
			insert into quote_documents (quote_id, dealer_id, schema_version, lines)
			select thin.id, $2::uuid, $19::integer, $20::text from thin
		)
		select owner.there, (select count(*) from thin) from owner`,
		q.ID, q.DealerID, string(q.State), q.Version, q.Reference, q.Revises, q.OrderID, q.Revision.Engine, q.Revision.Catalog, q.Revision.PriceBook,
		q.Promise, record.Moment(q.ValidUntil), q.Total.Value.String(), q.Total.Currency, record.Moment(q.CreatedAt), record.Moment(q.UpdatedAt),
		q.CreatedBy.KeyID, string(q.CreatedBy.Role), q.SchemaVersion, string(lines))
	if err == nil {
		err = a.err()
	}
	return r.done(ctx, what, err)
}

func (r quotes) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (q record.Quote, err error) {
	where := new(conditions)
	where.owned(scope, "q.dealer_id")
	where.add("q.id = $?::uuid", id)
	err = r.query(ctx, scope, one(&q, func(rows pgx.Rows) (q record.Quote, err error) {
		var lines string
		if err = rows.Scan(append(quoteFields(&q), &q.SchemaVersion, &lines)...); err != nil {
			return q, err
		}
		inUTC(&q.ValidUntil, &q.CreatedAt, &q.UpdatedAt)
		return q, json.Unmarshal([]byte(lines), &q.Lines)
	}), `select q.id, q.dealer_id, state, version, reference, revises, order_id, engine_revision, catalog_revision, price_book_revision,
			promise, valid_until, total, currency, created_at, updated_at, created_by, created_as, schema_version, lines
		from quotes q join quote_documents d on d.quote_id = q.id`+where.String(), where.args...)
	return q, r.done(ctx, fmt.Sprintf("get quote %v", id), err)
}

func (r quotes) Update(ctx context.Context, scope store.Scope, q record.Quote, expected int) error {
	what := fmt.Sprintf("update quote %v", q.ID)
	if err := store.CheckQuote(q); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	return r.done(ctx, what, versioned(ctx, r, scope, "quotes", q.ID, expected,
		"state = $?::text, order_id = $?::uuid, version = $?::integer, updated_at = $?::timestamptz",
		string(q.State), q.OrderID, q.Version, record.Moment(q.UpdatedAt)))
}

// versioned changes a row whose version is the expected one. ErrNotFound when it
// is not there, ErrStaleVersion when its version is another.
func versioned(ctx context.Context, s session, scope store.Scope, table string, id uuid.UUID, expected int, set string, values ...any) error {
	// The numbers of the assignments come first, in the order of the text.
	assignments := new(conditions)
	assignments.add(set, values...)
	where := &conditions{args: assignments.args}
	where.owned(scope, "dealer_id")
	where.add("id = $?::uuid", id)
	where.add("version = $?::integer", expected)
	n, err := exec(ctx, s, scope, "update "+table+" set "+assignments.terms[0]+where.String(), where.args...)
	if err != nil || n > 0 {
		return err
	}
	there := new(conditions)
	there.owned(scope, "dealer_id")
	there.add("id = $?::uuid", id)
	var found bool
	err = s.query(ctx, scope, one(&found, func(pgx.Rows) (bool, error) { return true, nil }), "select 1 from "+table+there.String(), there.args...)
	if err != nil {
		return err
	}
	return store.ErrStaleVersion
}

func (r quotes) List(ctx context.Context, scope store.Scope, f store.QuoteFilter, page store.Page) (store.Listing[record.Quote], error) {
	where := new(conditions)
	where.owned(scope, "dealer_id")
	if f.DealerID != nil {
		where.add("dealer_id = $?::uuid", *f.DealerID)
	}
	if f.Reference != "" {
		where.add("reference = $?::text", f.Reference)
	}
	switch f.State {
	case "":
	case record.QuoteOpen:
		where.add("state = 'open' and valid_until > $?::timestamptz", record.Moment(f.At))
	case record.QuoteExpired:
		where.add("state = 'open' and valid_until <= $?::timestamptz", record.Moment(f.At))
	default:
		where.add("state = $?::text", string(f.State))
	}
	return list(ctx, r, "quotes", scope, "select "+quoteColumns+" from quotes", where, page, f.Place(scope), scanQuote,
		func(q record.Quote) store.Position { return store.Position{CreatedAt: q.CreatedAt, ID: q.ID} })
}
