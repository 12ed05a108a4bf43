package service

import (
	"context"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/store"
)

// GetShopDocument returns a version of one of the shop's own documents, 0 for the
// latest; for the shop. Its Version is the ETag.
func (s *Service) GetShopDocument(ctx context.Context, c Caller, kind string, version int) (record.ShopDocument, error) {
	if err := needShop(c); err != nil {
		return record.ShopDocument{}, err
	}
	if !documentKinds[kind] || version < 0 {
		return record.ShopDocument{}, fault.New(fault.NotFound, "There is no such document.")
	}
	var d record.ShopDocument
	var err error
	if version == 0 {
		d, err = s.store.ShopDocuments().Latest(ctx, kind)
	} else {
		d, err = s.store.ShopDocuments().Get(ctx, kind, version)
	}
	return d, storeFault(err, "version of the document")
}

// ListShopDocuments lists the versions of one of the shop's documents without their
// bodies, newest first; for the shop.
func (s *Service) ListShopDocuments(ctx context.Context, c Caller, kind string, p store.Page) (store.Listing[record.ShopDocument], error) {
	if err := needShop(c); err != nil {
		return store.Listing[record.ShopDocument]{}, err
	}
	if !documentKinds[kind] {
		return store.Listing[record.ShopDocument]{}, fault.New(fault.NotFound, "There is no such document.")
	}
	list, err := s.store.ShopDocuments().List(ctx, kind, p)
	return list, storeFault(err, "document")
}
