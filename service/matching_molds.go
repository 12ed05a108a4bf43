package service

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/derivation"
	"hatchwright/service/part"
	"hatchwright/service/record"
	"hatchwright/service/register"
	"hatchwright/store"
)

// nearCandidates is how many molds of about the right size are looked at closely.
const nearCandidates = 100

// exactMolds are the molds of the register that make just the parts of a
// derivation, by part, each with pulls for the whole quantity that no order has
// reserved and that are not counted on already. Where there are several, molds of one hatch go together, then the one
// with most such pulls.
func (s *Service) exactMolds(ctx context.Context, scope store.Scope, r *derivation.Result, counted map[uuid.UUID]int) (map[string]record.Mold, error) {
	faces := register.Faces(&r.Configuration, r.Geometry, r.Molds)
	prints := make([]string, len(faces))
	for i, f := range faces {
		prints[i] = f.Fingerprint()
	}
	list, err := s.store.Molds().Exact(ctx, scope, prints)
	if err != nil {
		return nil, err
	}
	free, err := freePulls(ctx, s.store.Molds(), list)
	if err != nil {
		return nil, err
	}
	for id, n := range counted {
		free[id] -= n
	}
	set := register.Set(faces)
	slices.SortStableFunc(list, func(a, b record.Mold) int {
		own := func(m record.Mold) int {
			if m.Set == set {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(own(a), own(b)), cmp.Compare(free[b.ID], free[a.ID]))
	})
	out := map[string]record.Mold{}
	for _, m := range list {
		if _, there := out[m.Part]; !there && float64(free[m.ID]) >= r.Configuration.Quantity {
			out[m.Part] = m
		}
	}
	return out, nil
}

// nearMolds are hatches whose receiver's mold stands in the register and is within
// the tolerance, not the very one; with the lid's mold of the same hatch when that
// is there too. The nearest first.
func (s *Service) nearMolds(ctx context.Context, scope store.Scope, r *derivation.Result) ([]backlog.NearMold, error) {
	tolerance := register.Within(r.Configuration.SizeTolerance)
	if tolerance == 0 {
		return nil, nil
	}
	faces := register.Faces(&r.Configuration, r.Geometry, r.Molds)
	i := slices.IndexFunc(faces, func(f register.Face) bool { return f.Part == part.Receiver })
	if i < 0 {
		return nil, nil
	}
	asked := faces[i]
	bounds := asked.Near(tolerance)
	list, err := s.store.Molds().Near(ctx, scope, store.MoldBounds{Class: bounds.Class, Strips: bounds.Strips(),
		LongLeast: bounds.LongLeast, LongMost: bounds.LongMost, ShortLeast: bounds.ShortLeast, ShortMost: bounds.ShortMost}, nearCandidates)
	if err != nil {
		return nil, err
	}
	free, err := freePulls(ctx, s.store.Molds(), list)
	if err != nil {
		return nil, err
	}
	own := asked.Fingerprint()
	var out []backlog.NearMold
	sets := map[string]bool{}
	for _, m := range list {
		if m.Fingerprint == own || float64(free[m.ID]) < r.Configuration.Quantity || sets[m.Set] {
			continue
		}
		var f register.Face
		if err := json.Unmarshal(m.Face, &f); err != nil {
			return nil, fmt.Errorf("mold %v: %w", m.ID, err)
		}
		off, differences, ok := register.Off(asked, f)
		if !ok || off > tolerance {
			continue
		}
		n := backlog.NearMold{Molds: map[string]record.Mold{m.Part: m}, Off: off}
		for _, d := range differences {
			n.Differences = append(n.Differences, backlog.MoldDifference{Part: m.Part, What: d.What, By: d.By, Asked: d.Asked})
		}
		sets[m.Set] = true
		out = append(out, n)
	}
	slices.SortStableFunc(out, func(a, b backlog.NearMold) int { return cmp.Compare(a.Off, b.Off) })
	out = out[:min(len(out), backlog.MostNear)]
	names := make([]string, len(out))
	for i, n := range out {
		names[i] = n.Molds["receiver"].Set
	}
	others, err := s.store.Molds().OfSets(ctx, scope, names)
	if err != nil {
		return nil, err
	}
	if free, err = freePulls(ctx, s.store.Molds(), others); err != nil {
		return nil, err
	}
	for _, m := range others {
		for _, n := range out {
			if _, there := n.Molds[m.Part]; !there && n.Molds["receiver"].Set == m.Set && float64(free[m.ID]) >= r.Configuration.Quantity {
				n.Molds[m.Part] = m
			}
		}
	}
	return out, nil
}
