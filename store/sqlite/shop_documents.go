package sqlite

import (
	"context"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type shopDocuments struct{ *registers }

func (r shopDocuments) Put(ctx context.Context, scope store.Scope, d record.ShopDocument, expected int) (record.ShopDocument, error) {
	what := fmt.Sprintf("put version %d of shop document %q", expected+1, d.Kind)
	if err := store.Admit(what, scope.Whole(), store.CheckShopDocument(d)); err != nil {
		return record.ShopDocument{}, err
	}
	d.Version = expected + 1
	d.CreatedAt = record.Moment(d.CreatedAt)
	n, err := insertWhere(ctx, r.write, table.ShopDocuments, &d, " and (select coalesce(max(version), 0) from shop_documents where kind = ?1) = ?2 - 1")
	if err == nil && n == 0 {
		err = store.ErrStaleVersion
	}
	if err != nil {
		return record.ShopDocument{}, r.done(ctx, what, err)
	}
	return d, nil
}

func (r shopDocuments) Latest(ctx context.Context, kind string) (record.ShopDocument, error) {
	d, err := find(ctx, r.read, table.ShopDocuments, narrow().Add("kind = ?", kind), " order by version desc limit 1")
	return d, r.done(ctx, fmt.Sprintf("get the latest shop document %q", kind), err)
}

func (r shopDocuments) Get(ctx context.Context, kind string, version int) (record.ShopDocument, error) {
	d, err := find(ctx, r.read, table.ShopDocuments, narrow().Add("kind = ?", kind).Add("version = ?", version), "")
	return d, r.done(ctx, fmt.Sprintf("get version %d of shop document %q", version, kind), err)
}

func (r shopDocuments) List(ctx context.Context, kind string, page store.Page) (store.Listing[record.ShopDocument], error) {
	what := fmt.Sprintf("list versions of shop document %q", kind)
	place := store.ShopDocumentPlace(kind)
	return versions(ctx, r.registers, what, table.ShopDocuments.Without("body"), narrow().Add("kind = ?", kind), page, place, "version")
}
