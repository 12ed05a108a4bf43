package tooling

import (
	"fmt"
	"math"
	"slices"

	"hatchwright/service/nest"
	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// Panel is a row of the cut list: rectangles sawn from one stocked sheet.
type Panel struct {
	Name      string
	Part      part.Part // whose mold it is a board of; empty: a template
	Stock     string    // key of the sheet
	Thickness float64   // mm
	Length    float64
	Width     float64
	Quantity  int
	// Joined is how many pieces, edge to edge, make one board: more than 1 where the
	// board is larger than the sheet. Length and Width are the piece's.
	Joined int
}

// SheetLayout is a stocked sheet and what is sawn from it.
type SheetLayout struct {
	Stock     string
	Thickness float64
	nest.Layout
}

// CutList is what is sawn, and from what.
type CutList struct {
	Panels []Panel
	Sheets []SheetLayout
	// SheetBound is how many sheets any plan needs; AreaBound the panels' area,
	// kerf and trim counted, in sheets.
	SheetBound int
	AreaBound  float64
	Status     nest.Status // Optimal when Sheets meets SheetBound for each thickness
}

// cutList lists the panels of molds and templates and nests them, thickness by
// thickness.
func (c *Crib) cutList(molds []Mold, templates []Template, d shop.Documents, s *Stacker) (CutList, error) {
	t := d.Profile.Tooling
	var list CutList
	list.Panels = make([]Panel, 0, 16)
	for i := range molds {
		for _, l := range molds[i].Layers {
			length, width := l.Length, l.Width
			if l.Outline != nil && !l.Board.IsHole() {
				length, width = length+2*c.practice.BlankMargin, width+2*c.practice.BlankMargin
			}
			for _, sheet := range l.Stack.Sheets {
				list.add(l.Board.Label(molds[i].Part), molds[i].Part, sheet, length, width, t.SheetTrim)
			}
		}
	}
	for _, sheet := range s.atLeast(c.practice.TemplateThickness).Sheets {
		for i := range templates {
			low, high := templates[i].Outline.Bounds()
			margin := c.practice.BlankMargin
			if templates[i].Hole {
				margin = t.CavityMargin
			}
			list.add(templates[i].Name, "", sheet, high.X-low.X+2*margin, high.Y-low.Y+2*margin, t.SheetTrim)
		}
	}
	return list, list.nest(d.Profile, c.practice.NestBudget)
}

// add puts a board on the list; a board larger than its sheet becomes pieces that
// are joined edge to edge. It is a board of a part's mold, or, of "", a template.
func (l *CutList) add(name string, of part.Part, sheet shop.Sheet, length, width, trim float64) {
	along, across := pieces(sheet, length, width, trim)
	length, width = length/float64(along), width/float64(across)
	joined := along * across
	for i := range l.Panels {
		p := &l.Panels[i]
		if p.Name == name && p.Stock == sheet.Key && p.Length == length && p.Width == width {
			p.Quantity += joined
			return
		}
	}
	l.Panels = append(l.Panels, Panel{Name: name, Part: of, Stock: sheet.Key, Thickness: sheet.Thickness, Length: length, Width: width, Quantity: joined, Joined: joined})
}

// mostAlong bounds into how many pieces a side is parted; a sheet so small cannot
// be worked with, and nesting says so.
const mostAlong = 64

// pieces returns the fewest equal pieces that a board must be joined from, by the
// parts of its length and of its width; the squarer pieces among equals.
func pieces(sheet shop.Sheet, length, width, trim float64) (along, across int) {
	if fitsSheet(sheet, length, width, trim) {
		return 1, 1
	}
	along, across = mostAlong, mostAlong
	skew := func(a, b int) float64 { return math.Abs(math.Log(length / float64(a) / width * float64(b))) }
	for a := 1; a <= mostAlong; a++ {
		for b := 1; a*b <= along*across && b <= mostAlong; b++ {
			if fitsSheet(sheet, length/float64(a), width/float64(b), trim) && (a*b < along*across || skew(a, b) < skew(along, across)) {
				along, across = a, b
			}
		}
	}
	return along, across
}

// fitsSheet reports whether a panel can be sawn from a sheet, either way round.
func fitsSheet(sheet shop.Sheet, length, width, trim float64) bool {
	l, w := sheet.Length-2*trim, sheet.Width-2*trim
	return math.Max(length, width) <= math.Max(l, w)+sameSize && math.Min(length, width) <= math.Min(l, w)+sameSize
}

// nest lays the panels out, each stock on its own.
func (l *CutList) nest(p *shop.Profile, budget int) error {
	rules := nest.Rules{Kerf: p.Tooling.Kerf, Trim: p.Tooling.SheetTrim, Budget: budget}
	panels := make([]nest.Panel, 0, len(l.Panels))
	stock := make([]nest.Sheet, 1)
	var done []string
	for i := range l.Panels {
		key := l.Panels[i].Stock
		if slices.Contains(done, key) {
			continue
		}
		done = append(done, key)
		panels = panels[:0]
		for _, q := range l.Panels[i:] {
			if q.Stock == key {
				panels = append(panels, nest.Panel{Name: q.Name, Length: q.Length, Width: q.Width, Quantity: q.Quantity, Turn: true})
			}
		}
		for _, s := range p.Sheets {
			if s.Key == key {
				stock[0] = nest.Sheet{Name: s.Key, Length: s.Length, Width: s.Width}
			}
		}
		plan, err := nest.Guillotine(panels, stock, rules)
		if err != nil {
			return fmt.Errorf("sheets of %s: %w", key, err)
		}
		l.SheetBound += plan.Bound
		l.AreaBound += plan.AreaBound
		l.Status = max(l.Status, plan.Status)
		for _, lay := range plan.Layouts {
			l.Sheets = append(l.Sheets, SheetLayout{Stock: key, Thickness: l.Panels[i].Thickness, Layout: lay})
		}
	}
	return nil
}

// Used is how much of one stocked sheet a cut list takes.
type Used struct {
	Stock     string
	Thickness float64 // mm
	Sheets    int
	Area      float64 // of whole sheets, mm2
}

// SheetsUsed sums the layouts by stock, in their order. Sheets are bought whole.
func (l *CutList) SheetsUsed() []Used {
	var out []Used
	for i := range l.Sheets {
		s := &l.Sheets[i]
		k := slices.IndexFunc(out, func(u Used) bool { return u.Stock == s.Stock })
		if k < 0 {
			k = len(out)
			out = append(out, Used{Stock: s.Stock, Thickness: s.Thickness})
		}
		out[k].Sheets++
		out[k].Area += s.Sheet.Length * s.Sheet.Width
	}
	return out
}
