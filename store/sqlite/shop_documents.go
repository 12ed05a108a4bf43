package sqlite

import (
	"context"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/store"
)

type shopDocuments struct{ *registers }

func scanShopDocument(r row) (d record.ShopDocument, err error) {
	err = r.Scan(&d.Kind, &d.Version, (*[]byte)(&d.Body), stamp{&d.CreatedAt}, &d.Author)
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
	n, err := affected(r.write.ExecContext(ctx, `insert into shop_documents (kind, version, body, created_at, author)
		select ?1, ?2 + 1, ?3, ?4, ?5
		where (select coalesce(max(version), 0) from shop_documents where kind = ?1) = ?2`,
		d.Kind, expected, string(d.Body), millis(d.CreatedAt), d.Author))
	if err == nil && n == 0 {
		err = store.ErrStaleVersion
	}
	if err != nil {
		return record.ShopDocument{}, r.done(ctx, what, err)
	}
	return d, nil
}

func (r shopDocuments) Latest(ctx context.Context, kind string) (record.ShopDocument, error) {
	d, err := scanShopDocument(r.read.QueryRowContext(ctx,
		"select kind, version, body, created_at, author from shop_documents where kind = ? order by version desc limit 1", kind))
	return d, r.done(ctx, fmt.Sprintf("get the latest shop document %q", kind), err)
}

func (r shopDocuments) Get(ctx context.Context, kind string, version int) (record.ShopDocument, error) {
	d, err := scanShopDocument(r.read.QueryRowContext(ctx,
		"select kind, version, body, created_at, author from shop_documents where kind = ? and version = ?", kind, version))
	return d, r.done(ctx, fmt.Sprintf("get version %d of shop document %q", version, kind), err)
}

func (r shopDocuments) List(ctx context.Context, kind string, page store.Page) (store.Listing[record.ShopDocument], error) {
	what := fmt.Sprintf("list versions of shop document %q", kind)
	place := store.ShopDocumentPlace(kind)
	where := new(conditions)
	where.add("kind = ?", kind)
	at, ok, err := page.After(place)
	if err != nil {
		return store.Listing[record.ShopDocument]{}, fmt.Errorf("%s: %w", what, err)
	}
	if ok {
		where.add("version < ?", at.Version())
	}
	items, err := collect(ctx, r.read, "select kind, version, null, created_at, author from shop_documents"+where.String()+" order by version desc limit ?",
		append(where.args, page.Size()+1), scanShopDocument)
	if err != nil {
		return store.Listing[record.ShopDocument]{}, r.done(ctx, what, err)
	}
	return store.Cut(items, page, place, func(d record.ShopDocument) store.Position { return store.VersionPosition(d.Version) }), nil
}
