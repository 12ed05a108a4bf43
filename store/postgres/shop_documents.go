package postgres

import (
	"context"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type shopDocuments struct{ session }

func (r shopDocuments) Put(ctx context.Context, scope store.Scope, d record.ShopDocument, expected int) (record.ShopDocument, error) {
	what := fmt.Sprintf("put version %d of shop document %q", expected+1, d.Kind)
	if err := store.Admit(what, scope.Whole(), store.CheckShopDocument(d)); err != nil {
		return record.ShopDocument{}, err
	}
	d.Version = expected + 1
	d.CreatedAt = record.Moment(d.CreatedAt)
	// Of two at once that both find the expected version the latest, the key
	// (kind, version) lets one in.
	statement, _, args, err := table.ShopDocuments.Insert(dialect, &d)
	if err != nil {
		return record.ShopDocument{}, fmt.Errorf("%s: %w", what, err)
	}
	n, err := exec(ctx, r, scope, statement+" where (select coalesce(max(version), 0) from shop_documents where kind = $1::text) = $2::bigint - 1 on conflict do nothing", args...)
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
	d, err = find(ctx, r, store.Scope{}, table.ShopDocuments, narrow().Add("kind = ?", kind), " order by version desc limit 1")
	return d, r.done(ctx, fmt.Sprintf("get the latest shop document %q", kind), err)
}

func (r shopDocuments) Get(ctx context.Context, kind string, version int) (d record.ShopDocument, err error) {
	d, err = find(ctx, r, store.Scope{}, table.ShopDocuments, narrow().Add("kind = ?", kind).Add("version = ?", version), "")
	return d, r.done(ctx, fmt.Sprintf("get version %d of shop document %q", version, kind), err)
}

func (r shopDocuments) List(ctx context.Context, kind string, page store.Page) (store.Listing[record.ShopDocument], error) {
	what := fmt.Sprintf("list versions of shop document %q", kind)
	place := store.ShopDocumentPlace(kind)
	return versions(ctx, r, store.Scope{}, what, table.ShopDocuments.Without("body"), narrow().Add("kind = ?", kind), page, place, "version")
}
