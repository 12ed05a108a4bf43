package service

import (
	"context"
	"encoding/json"
	"errors"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// NewShopDocument is a new version of one of the shop's own documents. Match is the
// version that the caller has read (If-Match); nil takes whatever is there, for a
// price book that is posted. Answer writes what the caller is told.
type NewShopDocument struct {
	Kind   string
	Body   json.RawMessage
	Match  *int
	Answer func(record.ShopDocument) (record.Answer, error)
}

// PutShopDocument stores a new version of a document, after checking it together
// with the other two as they are; for the shop. From then on the service works with
// it. A version that is not the latest is refused with *order.Refusal Stale.
func (s *Service) PutShopDocument(ctx context.Context, c Caller, n NewShopDocument, claim *Claim) (record.Answer, error) {
	if err := needShop(c); err != nil {
		return record.Answer{}, err
	}
	if !documentKinds[n.Kind] {
		return record.Answer{}, fault.New(fault.NotFound, "There is no such document.")
	}
	answer, err := s.change(ctx, c, claim, "document", func() (write, error) {
		return func(ctx context.Context, tx store.Registers) (record.Answer, error) {
			latest, err := s.checkDocument(ctx, tx, n)
			if err != nil {
				return record.Answer{}, err
			}
			if n.Match != nil && *n.Match != latest {
				return record.Answer{}, stale(latest)
			}
			d, err := tx.ShopDocuments().Put(ctx, c.Scope(), record.ShopDocument{Kind: n.Kind, Body: n.Body, CreatedAt: s.now(), Author: c.doer().Author()}, latest)
			if err != nil {
				return record.Answer{}, staleVersion(err)
			}
			return n.Answer(d)
		}, nil
	})
	if err != nil {
		return answer, err
	}
	if err := s.LoadDocuments(ctx); err != nil {
		return answer, err
	}
	s.poke()
	return answer, nil
}

// checkDocument holds a new document against the other two and tells the latest
// version of its kind.
func (s *Service) checkDocument(ctx context.Context, tx store.Registers, n NewShopDocument) (latest int, err error) {
	bodies := map[string]json.RawMessage{}
	versions := map[string]int{}
	for kind := range documentKinds {
		d, err := tx.ShopDocuments().Latest(ctx, kind)
		if err != nil && !(kind == n.Kind && errors.Is(err, store.ErrNotFound)) {
			return 0, err
		}
		bodies[kind], versions[kind] = d.Body, d.Version
	}
	bodies[n.Kind] = n.Body
	documents, err := decodeDocuments(bodies[record.DocumentProfile], bodies[record.DocumentMaterials], bodies[record.DocumentPriceBook],
		versions[record.DocumentProfile], versions[record.DocumentMaterials], versions[record.DocumentPriceBook])
	if err == nil {
		_, err = derivation.New(documents)
	}
	if err != nil {
		detail := strings.TrimPrefix(err.Error(), shop.ErrDocument.Error()+": ")
		f := fault.Wrap(fault.Invalid, err, "The document cannot be used: %s.", strings.TrimSuffix(detail, "."))
		f.Fields = []fault.Field{{Pointer: documentPointer(detail), Code: "document", Message: detail}}
		return 0, f
	}
	return versions[n.Kind], nil
}

// documentPointer reads the pointer out of a refusal of package shop, which names
// document and place: "profile: work_centers/0: a key and ...".
func documentPointer(detail string) string {
	_, rest, ok := strings.Cut(detail, ": ")
	if !ok {
		return ""
	}
	place, _, _ := strings.Cut(rest, ":")
	place, _, _ = strings.Cut(place, " ")
	if place == "" || strings.ContainsAny(place, `"()`) {
		return ""
	}
	return "/" + place
}
