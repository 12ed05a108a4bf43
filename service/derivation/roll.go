package derivation

import (
	"fmt"
	"math"

	"hatchwright/service/bill"
	"hatchwright/service/laminate"
	"hatchwright/service/nest"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

const (
	// plyOverlap is how far two pieces of one ply lie over each other where a ply is
	// wider than the roll, mm (common practice, no source).
	plyOverlap = 50.0
	// rollPieces are the most pieces that one layout on a roll plans; larger orders
	// repeat the layout.
	rollPieces = 24
	// rollBudget are the steps of a layout's search: the first few find what there is
	// to find in two or three sizes of pieces.
	rollBudget = 300
)

// CatalystMass is the peroxide of one hatch's gelcoat and resin, kg.
func (r *Result) CatalystMass() float64 { return catalyst(r.Mixes, "") }

// flatPattern is the rectangle of glass that one ply of a part is cut from, mm: the
// part unrolled over its middle,
//
//	innermost outline + 2 (length of the section + overrun)
//
// in length and in width. The corners are darted or cut on the mold.
func (e *Engine) flatPattern(r *Result, of part.Part) (length, width float64, err error) {
	over := e.docs.Profile.Tooling.PlyOverrun
	var o outline.Outline
	section := r.Geometry.ReceiverProfile
	o = r.Geometry.Outlines.ClearOpening
	if of == part.Lid {
		section = r.Geometry.LidProfile
		if o, err = r.Geometry.Outlines.Recess.Offset(first(section).N); err != nil {
			return 0, 0, fmt.Errorf("flat of the lid: %w", err)
		}
	}
	by := 2 * (section.Length() + over)
	return o.Length() + by, o.Width() + by, nil
}

// glass are the needs of a part's reinforcements: each ply's pieces laid out on the
// roll's width.
func (e *Engine) glass(r *Result, of part.Part, l *Laminate) ([]bill.Need, error) {
	n := int(r.Configuration.Quantity)
	length, width, err := e.flatPattern(r, of)
	if err != nil {
		return nil, err
	}
	count := map[string]int{}
	var order []shop.Reinforcement
	for _, row := range l.Rows {
		if count[row.Key] == 0 {
			order = append(order, row)
		}
		count[row.Key]++
	}
	var out []bill.Need
	for _, row := range order {
		need := bill.Need{
			Part: string(of), Key: row.Key, Name: row.Name, Purpose: bill.ForPart, Unit: "m2", Waste: e.docs.Profile.Waste.Glass, From: "/laminate/" + string(of) + "/laid_area",
			Net: float64(count[row.Key]*n) * l.LaidArea * squareMeter,
		}
		if row.RollWidth > 0 {
			if need.Roll, err = roll(row, length, width, count[row.Key], n); err != nil {
				return nil, fmt.Errorf("layout of %q for the %s: %w", row.Key, of, err)
			}
			need.Gross = need.Roll.Length * need.Roll.Width * squareMeter
		}
		out = append(out, need)
	}
	return out, nil
}

// roll lays the pieces of n hatches out, plies to each.
func roll(row shop.Reinforcement, length, width float64, plies, n int) (*bill.Roll, error) {
	turn := row.Kind != string(laminate.Unidirectional)
	if turn && width > row.RollWidth && length <= row.RollWidth {
		length, width = width, length
	}
	strips := 1
	if width > row.RollWidth {
		strips = int(math.Ceil((width - plyOverlap) / (row.RollWidth - plyOverlap)))
		width = (width + float64(strips-1)*plyOverlap) / float64(strips)
	}
	each := plies * strips
	group := min(n, max(1, rollPieces/each))
	out := &bill.Roll{Width: row.RollWidth, Pieces: each * n}
	for _, part := range []struct{ hatches, times int }{{group, n / group}, {n % group, 1}} {
		if part.hatches == 0 {
			continue
		}
		plan, err := nest.Roll([]nest.Panel{{Name: row.Key, Length: length, Width: width, Quantity: each * part.hatches, Turn: turn}}, row.RollWidth, nest.Rules{Budget: rollBudget})
		if err != nil {
			return nil, err
		}
		out.Length += plan.Length * float64(part.times)
		out.Bound += plan.Bound * float64(part.times)
	}
	return out, nil
}
