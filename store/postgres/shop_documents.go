package postgres

import (
	"context"
	"fmt"
	"strconv"

	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

type shopDocuments struct{ session }

func scanShopDocument(r pgx.Rows) (d record.ShopDocument, err error) {
	var body *string
	err = r.Scan(&d.Kind, &d.Version, &body, &d.CreatedAt, &d.Author)
	inUTC(&d.CreatedAt)
	if body != nil {
		d.Body = []byte(*body)
	}
	return d, err
}

func (r shopDocuments) Put(ctx context.Context, scope store.Scope, d record.ShopDocument, expected int) (record.ShopDocument, error) {
	what := fmt.Sprintf("put version %d of shop document %q", expected+1, d.Kind)
	if !scope.Whole() {
		return record.ShopDocument{}, fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckShopDocument(d); err != nil {
		return record.ShopDocument{}, fmt.Errorf("%s: %w", what, err)
	}
	d.Version = expected + 1
	d.CreatedAt = record.Moment(d.CreatedAt)
	// Of two at once that both find the expected version the latest, the key
	// (kind, version) lets one in.
	n, err := exec(ctx, r, scope, `insert into shop_documents (kind, version, body, created_at, author)
		select $1::text, $2::bigint + 1, $3::text, $4::timestamptz, $5::text
		where (select coalesce(max(version), 0) from shop_documents where kind = $1::text) = $2::bigint
		on conflict do nothing`,
		d.Kind, expected, string(d.Body), d.CreatedAt, d.Author)
	if err == nil && n == 0 {
		err = store.ErrStaleVersion
	}
	if err != nil {
		return record.ShopDocument{}, r.done(ctx, what, err)
	}
	return d, nil
}

// Reading needs no scope; the policies let every transaction read.

func (r shopDocuments) Latest(ctx context.Context, kind string) (d record.ShopDocument, err error) {
	err = r.query(ctx, store.Scope{}, one(&d, scanShopDocument),
		"select kind, version, body, created_at, author from shop_documents where kind = $1::text order by version desc limit 1", kind)
	return d, r.done(ctx, fmt.Sprintf("get the latest shop document %q", kind), err)
}

func (r shopDocuments) Get(ctx context.Context, kind string, version int) (d record.ShopDocument, err error) {
	err = r.query(ctx, store.Scope{}, one(&d, scanShopDocument),
		"select kind, version, body, created_at, author from shop_documents where kind = $1::text and version = $2::bigint", kind, version)
	return d, r.done(ctx, fmt.Sprintf("get version %d of shop document %q", version, kind), err)
}

func (r shopDocuments) List(ctx context.Context, kind string, page store.Page) (store.Listing[record.ShopDocument], error) {
	what := fmt.Sprintf("list versions of shop document %q", kind)
	place := store.ShopDocumentPlace(kind)
	where := new(conditions)
	where.add("kind = $?::text", kind)
	at, ok, err := page.After(place)
	if err != nil {
		return store.Listing[record.ShopDocument]{}, fmt.Errorf("%s: %w", what, err)
	}
	if ok {
		where.add("version < $?::bigint", at.Version())
	}
	var items []record.ShopDocument
	err = r.query(ctx, store.Scope{}, every(&items, scanShopDocument),
		"select kind, version, null::text, created_at, author from shop_documents"+where.String()+" order by version desc limit "+strconv.Itoa(page.Size()+1), where.args...)
	if err != nil {
		return store.Listing[record.ShopDocument]{}, r.done(ctx, what, err)
	}
	return store.Cut(items, page, place, func(d record.ShopDocument) store.Position { return store.VersionPosition(d.Version) }), nil
}
