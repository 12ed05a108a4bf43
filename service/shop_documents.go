package service

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// builtIn is the author of the documents that a new store starts with.
const builtIn = "built-in"

// The shop's documents in a fixed order, as the store and as package shop name them.
var (
	documentOrder = [3]string{record.DocumentProfile, record.DocumentMaterials, record.DocumentPriceBook}
	documentNames = [3]string{shop.ProfileDocument, shop.MaterialsDocument, shop.PriceBookDocument}
)

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

// LoadDocuments makes the engine anew from the latest shop documents. A latest version
// that is refused (it was stored by a release that asked for less) is told in the log,
// and the service works with the version before it.
func (s *Service) LoadDocuments(ctx context.Context) error {
	chosen, latest, e, refused, err := usable(ctx, s.store.ShopDocuments())
	if errors.Is(err, ErrDocuments) {
		return fault.Wrap(fault.Internal, err, "The shop's documents cannot be used, in no version that is kept. Start the release before this one on a copy of the store, "+
			"read there what this one refuses, put documents that keep to it, and start this release again.")
	}
	if err != nil {
		return err
	}
	now := inUse{}
	for i := range chosen {
		now.versions[i], now.latest[i] = chosen[i].Version, latest[i].Version
		if chosen[i].Version == latest[i].Version {
			continue
		}
		now.invented = now.invented || chosen[i].Author == builtIn
		s.log.ErrorContext(ctx, "the latest version of a document of the shop is refused and an older one is in use: put a mended version",
			"document", documentNames[i], "refused_version", latest[i].Version, "version_in_use", chosen[i].Version, "built_in", chosen[i].Author == builtIn, "faults", short(refused[documentNames[i]]))
	}
	if now.invented {
		s.log.ErrorContext(ctx, "a built-in document stands in for one of the shop's own: no quotes are made and no orders taken until a mended version is put")
	}
	if p, b := e.Documents().Profile.Currency, e.Documents().Prices.Currency; p != "" && p != b {
		s.log.WarnContext(ctx, "the shop's profile names another currency than the price book, which counts", "profile", p, "price_book", b)
	}
	s.documents.Store(&now)
	s.engine.Store(e)
	return nil
}

// short is the first faults of a list in one line for the log.
func short(list shop.Faults) string {
	const most = 10
	if len(list) <= most {
		return list.Error()
	}
	return fmt.Sprintf("%s; and %d more", list[:most].Error(), len(list)-most)
}

// InUse is the version of a document that the service works with, 0 while none is
// loaded. It is the latest unless that one is refused.
func (s *Service) InUse(kind string) int {
	now := s.documents.Load()
	if i := slices.Index(documentOrder[:], kind); now != nil && i >= 0 {
		return now.versions[i]
	}
	return 0
}

// needOwnDocuments refuses what binds the shop while a built-in document stands in for
// one of its own.
func (s *Service) needOwnDocuments() error {
	if now := s.documents.Load(); now != nil && now.invented {
		return fault.New(fault.Unavailable, "The shop's own documents cannot be used at the moment, and nothing is promised from invented ones. The shop has to put mended versions of its profile, materials or price book.")
	}
	return nil
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
