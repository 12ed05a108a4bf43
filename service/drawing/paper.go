package drawing

import "hatchwright/service/quantity"

// Paper is a size of sheet, mm, as it lies.
type Paper struct {
	Name          string
	Width, Height float64
}

// The papers drawn on, landscape.
var (
	A4     = Paper{"A4", 297, 210}
	Letter = Paper{"Letter", 279.4, 215.9}
)

// Upright returns the paper turned on its short side.
func (p Paper) Upright() Paper { return Paper{p.Name, p.Height, p.Width} }

// PaperFor returns the paper that goes with a system of units.
func PaperFor(s quantity.System) Paper {
	if s == quantity.Inch {
		return Letter
	}
	return A4
}

// margin is the unprinted edge, mm: what office printers leave white (common
// practice, no source).
const margin = 10.0
