package packet

import (
	"fmt"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// Mixer returns what to weigh out for one hatch at a shop temperature, °C, or the
// findings that say which product's table does not cover it; with mixes the findings
// are cautions on them. As
// [derivation.Engine.Mixes] does for the packet's result.
type Mixer func(temperature float64) ([]derivation.Mix, []finding.Finding, error)

// The shop temperatures that mixes are tabled at, °C: what a heated shop has through
// the year (common practice, no source).
const (
	coolest = 16
	warmest = 30
	apart   = 2
)

// mixTable tables what to weigh out over the shop's temperature: a row for each mix,
// a column for each temperature.
func (w *writer) mixTable() {
	if w.MixesAt == nil || w.err != nil {
		return
	}
	type key struct {
		part  part.Part
		stage int
	}
	columns := []drawing.Column{{Title: "mix, with its waste", Share: 34}}
	var order []key
	heads := map[key]string{}
	cells := map[key][]string{}
	var notes []string
	var refused []bool
	for t := coolest; t <= warmest; t += apart {
		mixes, findings, err := w.MixesAt(float64(t))
		if err != nil {
			w.err = fmt.Errorf("mixes at %d °C: %w", t, err)
			return
		}
		n := len(refused)
		refused = append(refused, len(mixes) == 0)
		columns = append(columns, drawing.Column{Title: celsius(t, w.Units), Share: 18, Right: true})
		for _, f := range findings {
			notes = append(notes, fmt.Sprintf("At %d °C: %s", t, f.Message(w.Units)))
		}
		for _, m := range mixes {
			if m.Mass == 0 {
				continue
			}
			k := key{m.Part, m.Stage}
			if cells[k] == nil {
				order = append(order, k)
				heads[k] = fmt.Sprintf("%s, %s: %s, %s", m.Part, stageName(m.Stage), m.Product, kilograms(m.Mass))
				cells[k] = make([]string, (warmest-coolest)/apart+1)
			}
			cells[k][n] = dose(m)
		}
	}
	w.doc.Page("Mixes by shop temperature")
	w.doc.Say("For one hatch. In each box: catalyst or hardener by mass, its volume for the whole mix, gel or working time, and batches that are used up in time. Measure the shop's temperature first; between two columns take the warmer one's time.", drawing.Plain, drawing.Regular)
	var rows [][]string
	for _, k := range order {
		row := []string{heads[k]}
		for i, c := range cells[k] {
			if refused[i] {
				c = "do not mix"
			}
			row = append(row, c)
		}
		rows = append(rows, row)
	}
	if len(rows) > 0 {
		w.doc.Table(columns, rows)
	}
	for _, n := range notes {
		w.doc.Say(n, drawing.Small, drawing.Regular)
	}
}

// dose is a box of the table, a figure a line.
func dose(m derivation.Mix) string {
	lines := []string{quantity.Decimal(m.CatalystPercent, 2) + " %", quantity.Decimal(m.CatalystML, 1) + " mL", quantity.Decimal(m.GelMinutes, 0) + " min"}
	if m.Batches > 1 {
		lines = append(lines, fmt.Sprintf("%d batches", m.Batches))
	}
	return strings.Join(lines, "\n")
}

func stageName(stage int) string {
	switch stage {
	case derivation.MixFiller:
		return "filler of the mold's fillets"
	case derivation.MixGelcoat:
		return "gelcoat"
	case derivation.MixPads:
		return "pads under hardware"
	}
	return fmt.Sprintf("stage %d", stage)
}

// celsius is a column's head; where the shop reads inches, with °F.
func celsius(t int, u quantity.System) string {
	if u == quantity.Inch {
		return fmt.Sprintf("%d °C\n%s °F", t, quantity.Decimal(float64(t)*9/5+32, 0))
	}
	return fmt.Sprintf("%d °C", t)
}
