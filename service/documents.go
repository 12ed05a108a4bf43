package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// builtIn is the author of the documents that a new store starts with.
const builtIn = "built-in"

var documentOrder = [3]string{record.DocumentProfile, record.DocumentMaterials, record.DocumentPriceBook}

// trio are the three documents in one version each, in that order.
type trio [3]record.ShopDocument

// judge reads the documents and finds all that is wrong with them; judged names the
// one that is new, "" for none. The engine is nil where anything is.
func (t trio) judge(judged string) (*derivation.Engine, shop.Faults) {
	d, err := shop.Judge(t[0].Body, t[1].Body, t[2].Body, fmt.Sprintf("%d.%d", t[0].Version, t[1].Version), fmt.Sprint(t[2].Version), judged)
	faults := shop.FaultsOf(err)
	if d.Profile != nil {
		var more shop.Faults
		for _, f := range derivation.Faults(d.Profile) {
			if !slices.ContainsFunc(faults, func(k shop.Fault) bool {
				return k.Document == f.Document && (k.Pointer == f.Pointer || strings.HasPrefix(k.Pointer, f.Pointer+"/"))
			}) {
				more = append(more, f)
			}
		}
		if len(more) > 0 {
			faults = slices.Concat(shop.Place(shop.ProfileDocument, t[0].Body, faults.Of(shop.ProfileDocument), more), faults.Of(shop.MaterialsDocument), faults.Of(shop.PriceBookDocument))
		}
	}
	if len(faults) > 0 {
		return nil, faults
	}
	e, err := derivation.New(d)
	if err != nil {
		return nil, shop.FaultsOf(err)
	}
	return e, nil
}

// inUse is what the service works with.
type inUse struct {
	versions [3]int // of the documents that the engine is over
	latest   [3]int // that there were when it was made
	// invented tells that a built-in document stands in for one of the shop's own
	// that is refused: its prices and hours are nobody's.
	invented bool
}

// mostStepsBack bounds how far back usable versions are looked for.
const mostStepsBack = 1000

// ErrDocuments is wrapped where no versions of the shop's documents can be used
// together.
var ErrDocuments = errors.New("no usable versions of the shop's documents")

// usable finds the newest versions that can be used: the latest where they can, else
// for each document that is refused the version before it. What is refused is told by
// document.
func usable(ctx context.Context, documents store.ShopDocuments) (chosen trio, latest trio, e *derivation.Engine, refused map[string]shop.Faults, err error) {
	for i, kind := range documentOrder {
		if latest[i], err = documents.Latest(ctx, kind); err != nil {
			return chosen, latest, nil, nil, storeFault(fmt.Errorf("load %s: %w", kind, err), kind)
		}
	}
	chosen, refused = latest, map[string]shop.Faults{}
	for range mostStepsBack {
		var faults shop.Faults
		if e, faults = chosen.judge(""); e != nil {
			return chosen, latest, e, refused, nil
		}
		back := map[int]bool{}
		for i, name := range documentNames {
			own := faults.Of(name)
			if chosen[i].Version == latest[i].Version && len(own) > 0 {
				refused[name] = own
			}
			if slices.ContainsFunc(own, func(f shop.Fault) bool { return !f.Between }) {
				back[i] = true
			}
		}
		if len(back) == 0 { // they do not go together: what was put last goes back
			last := -1
			for i := range chosen {
				if chosen[i].Version > 1 && (last < 0 || chosen[i].CreatedAt.After(chosen[last].CreatedAt)) {
					last = i
				}
			}
			back[last] = last >= 0
		}
		for i := range back {
			if i < 0 || chosen[i].Version <= 1 {
				return chosen, latest, nil, refused, fmt.Errorf("%w: %w", ErrDocuments, faults)
			}
			if chosen[i], err = documents.Get(ctx, documentOrder[i], chosen[i].Version-1); err != nil {
				return chosen, latest, nil, refused, storeFault(fmt.Errorf("load %s: %w", documentOrder[i], err), documentOrder[i])
			}
		}
	}
	return chosen, latest, nil, refused, fmt.Errorf("%w within %d versions", ErrDocuments, mostStepsBack)
}

// short is the first faults of a list in one line for the log.
func short(list shop.Faults) string {
	const most = 10
	if len(list) <= most {
		return list.Error()
	}
	return fmt.Sprintf("%s; and %d more", list[:most].Error(), len(list)-most)
}

// decodeDocuments names the catalog by the versions of profile and materials,
// since both decide numbers.
func decodeDocuments(profile, materials, prices []byte, profileVersion, materialsVersion, pricesVersion int) (shop.Documents, error) {
	return shop.Decode(profile, materials, prices, fmt.Sprintf("%d.%d", profileVersion, materialsVersion), fmt.Sprint(pricesVersion))
}

// exampleDocuments are the documents that a new store starts with.
func exampleDocuments() (shop.Documents, error) {
	p, m, b := shop.ExampleBodies()
	return decodeDocuments(p, m, b, 1, 1, 1)
}

// documentKinds are the shop documents that there are routes for.
var documentKinds = map[string]bool{record.DocumentProfile: true, record.DocumentMaterials: true, record.DocumentPriceBook: true}

// The shop's documents in a fixed order, as the store and as package shop name them.
var (
	documentNames = [3]string{shop.ProfileDocument, shop.MaterialsDocument, shop.PriceBookDocument}
)
