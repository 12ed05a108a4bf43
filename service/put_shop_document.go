package service

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// NewShopDocument is a new version of one of the shop's own documents. Match is the
// version that the caller has read (If-Match); nil takes whatever is there, for a
// price book that is posted.
type NewShopDocument struct {
	Kind  string
	Body  json.RawMessage
	Match *int
}

// PutShopDocument stores a new version of a document, after checking it together
// with the other two as they are; for the shop. From then on the service works with
// it. A version that is not the latest is refused with *order.Refusal Stale.
func (s *Service) PutShopDocument(ctx context.Context, c Caller, n NewShopDocument, claim *Claim) (Made[record.ShopDocument], error) {
	if err := needShop(c); err != nil {
		return Made[record.ShopDocument]{}, err
	}
	if !documentKinds[n.Kind] {
		return Made[record.ShopDocument]{}, fault.New(fault.NotFound, "There is no such document.")
	}
	made, err := change(ctx, s, c, claim, "document", func() (write[record.ShopDocument], error) {
		return func(ctx context.Context, tx store.Registers) (record.ShopDocument, error) {
			latest, err := s.checkDocument(ctx, tx, n)
			if err != nil {
				return record.ShopDocument{}, err
			}
			if n.Match != nil && *n.Match != latest {
				return record.ShopDocument{}, stale(latest)
			}
			d, err := tx.ShopDocuments().Put(ctx, c.Scope(), record.ShopDocument{Kind: n.Kind, Body: n.Body, CreatedAt: s.now(), Author: c.doer().Author()}, latest)
			if err != nil {
				return record.ShopDocument{}, staleVersion(err)
			}
			return d, nil
		}, nil
	})
	if err != nil {
		return made, err
	}
	if err := s.LoadDocuments(ctx); err != nil {
		return made, err
	}
	s.invalidate()
	return made, nil
}

// checkDocument holds a new document against the other two, as they are in use, and
// tells the latest version of its kind.
func (s *Service) checkDocument(ctx context.Context, tx store.Registers, n NewShopDocument) (latest int, err error) {
	at := slices.Index(documentOrder[:], n.Kind)
	chosen, newest, _, _, err := usable(ctx, tx.ShopDocuments())
	if err != nil {
		return 0, err
	}
	chosen[at] = record.ShopDocument{Kind: n.Kind, Body: n.Body, Version: newest[at].Version + 1}
	if _, faults := chosen.judge(documentNames[at]); len(faults) > 0 {
		return 0, refusedDocument(faults)
	}
	return newest[at].Version, nil
}

// mostFaults is how many faults of a document are told at once.
const mostFaults = 50

// refusedDocument tells all that is wrong with a document.
func refusedDocument(faults shop.Faults) error {
	detail := "The document cannot be used: one thing is wrong with it; see errors."
	switch n := len(faults); {
	case n > mostFaults:
		detail = fmt.Sprintf("The document cannot be used: %d things are wrong with it; see errors for the first %d.", n, mostFaults)
	case n > 1:
		detail = fmt.Sprintf("The document cannot be used: %d things are wrong with it; see errors.", n)
	}
	e := fault.Wrap(fault.Invalid, faults, "%s", detail)
	for _, f := range faults[:min(len(faults), mostFaults)] {
		e.Fields = append(e.Fields, fault.Field{Pointer: f.Pointer, Code: f.Code, Message: f.Message, Range: f.Range})
	}
	return e
}
