package tooling

import (
	"cmp"

	"hatchwright/service/shop"
)

// Practice are the shop's habits at the router, the saw and the bench, mm unless
// a line says otherwise. Errors are ± half widths.
type Practice struct {
	// SizeTolerance is how far a template may miss an outline that another part
	// fits to and still count as that outline: well under what gaps are held to.
	SizeTolerance float64
	// TrunkTolerance is the same for the trunk, which nothing fits to.
	TrunkTolerance float64
	LayoutError    float64 // of an outline drawn 1:1 and filed to the line
	CopyError      float64 // of one pass of a bearing along an edge
	BitError       float64 // of a cutter's diameter, after sharpening

	FairingError       float64 // of a filled, sealed and sanded mold face, local
	TrimError          float64 // of sanding a part's edge clean, local
	ShrinkageVariation float64 // share of the resin's shrinkage
	ScaleMolds         bool    // molds are made larger by what the laminate shrinks

	TemplateThickness float64
	BlankMargin       float64 // that a blank is larger than its outline, each side

	ScrewPitch float64 // at most, along the line of screws
	ScrewEdge  float64 // from the edges
	ScrewLeast int     // for each layer

	NestBudget int // steps of the search for sheets
}

// StandardPractice is what holds where a shop says nothing else: shop rules and
// common practice, no published source. Screws 20 mm from an edge keep the 12 mm
// that fastener guides for MDF ask for with room for draft and rounding.
var StandardPractice = Practice{
	SizeTolerance: 0.05, TrunkTolerance: 0.25, LayoutError: 0.3, CopyError: 0.1, BitError: 0.05,
	FairingError: 0.15, TrimError: 0.1, ShrinkageVariation: 0.25,
	TemplateThickness: 12, BlankMargin: 15,
	ScrewPitch: 150, ScrewEdge: 20, ScrewLeast: 4,
	NestBudget: 6000,
}

// PracticeOf returns the shop's practice: what its tooling settings say, standard
// practice for the rest.
func PracticeOf(t shop.Tooling) Practice {
	p := StandardPractice
	p.SizeTolerance = cmp.Or(t.SizeTolerance, p.SizeTolerance)
	p.TrunkTolerance = cmp.Or(t.TrunkTolerance, p.TrunkTolerance)
	p.LayoutError = cmp.Or(t.LayoutError, p.LayoutError)
	p.CopyError = cmp.Or(t.CopyError, p.CopyError)
	p.BitError = cmp.Or(t.BitError, p.BitError)
	p.FairingError = cmp.Or(t.FairingError, p.FairingError)
	p.TrimError = cmp.Or(t.TrimError, p.TrimError)
	p.ShrinkageVariation = cmp.Or(t.ShrinkageVariation, p.ShrinkageVariation)
	p.ScaleMolds = t.ScaleMolds
	p.TemplateThickness = cmp.Or(t.TemplateThickness, p.TemplateThickness)
	p.BlankMargin = cmp.Or(t.BlankMargin, p.BlankMargin)
	p.ScrewPitch = cmp.Or(t.ScrewPitch, p.ScrewPitch)
	p.ScrewEdge = cmp.Or(t.ScrewEdge, p.ScrewEdge)
	p.ScrewLeast = cmp.Or(t.ScrewLeast, p.ScrewLeast)
	p.NestBudget = cmp.Or(t.NestBudget, p.NestBudget)
	return p
}

// passError is what one pass of a bit with its bearing adds to an edge's error:
// the copy's own, and half of the cutter's diameter's.
func (p Practice) passError() float64 { return p.CopyError + p.BitError/2 }
