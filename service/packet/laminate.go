package packet

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
)

// squareMeter turns mm2 into m2.
const squareMeter = 1e-6

// laminates are the sheets for the laminating room: what goes on in which stage.
func (w *writer) laminates() {
	r := w.Result
	w.insert("stack")
	for _, side := range []struct {
		of part.Part
		l  *derivation.Laminate
	}{{part.Receiver, &r.Receiver}, {part.Lid, &r.Lid}} {
		l := side.l
		w.doc.Page("Laminate of the " + string(side.of))
		w.doc.Say(fmt.Sprintf("From the mold face outward, over %s of mold face, the overrun in it. Per piece; %s pieces are made.", squareMeters(l.LaidArea), quantity.Decimal(r.Configuration.Quantity, 0)), drawing.Plain, drawing.Regular)
		w.doc.Table([]drawing.Column{{Title: "gelcoat", Share: 40}, {Title: "wet film", Share: 20, Right: true}, {Title: "film's mass", Share: 20, Right: true}, {Title: "to spray, losses in it", Share: 24, Right: true}, {Title: "batch, time, who", Share: 30, Box: true}},
			[][]string{{l.Gelcoat.Name + ", " + l.Gelcoat.Color, w.length(l.Gelcoat.Film), kilograms(l.GelcoatMass), kilograms(l.GelcoatMass / l.Gelcoat.TransferSpray), ""}})
		w.planned(side.of, "gelcoat", 0)
		w.mixes("", w.mixesOf(side.of, derivation.MixGelcoat))
		plies := l.Stack.Plies()
		for i, st := range l.Stages {
			w.doc.Heading(fmt.Sprintf("Stage %d of %d: %s of laminate", i+1, len(l.Stages), w.length(st.Thickness)))
			w.planned(side.of, "laminate", i+1)
			var rows [][]string
			glass, resin := 0.0, 0.0
			if st.Core && l.Core != nil {
				bed := l.Core.BedResin * l.CoreArea * squareMeter
				resin += bed
				rows = append(rows, []string{"core", l.Core.Name, w.length(l.Core.Thickness), squareMeters(l.CoreArea), "bed " + kilograms(bed), ""})
			}
			for _, k := range st.Plies {
				p := plies[k]
				g, m := p.GlassMass()*l.LaidArea*squareMeter, p.ResinMass()*l.LaidArea*squareMeter
				glass, resin = glass+g, resin+m
				rows = append(rows, []string{fmt.Sprintf("ply %d", k+1), l.Rows[k].Name, w.length(p.Thickness()), "glass " + kilograms(g), "resin " + kilograms(m), ""})
			}
			w.doc.Table([]drawing.Column{{Title: "layer", Share: 11}, {Title: "material", Share: 36}, {Title: "thickness", Share: 18, Right: true}, {Title: "quantity", Share: 18, Right: true}, {Title: "resin", Share: 18, Right: true}, {Title: "done", Share: 9, Box: true}}, rows)
			w.mixes("", w.mixesOf(side.of, i+1))
			w.doc.Table([]drawing.Column{{Title: "resin in the laminate", Share: 24}, {Title: "catalyst used", Share: 24, Box: true}, {Title: "shop temperature", Share: 22, Box: true}, {Title: "laid from, to", Share: 24, Box: true}, {Title: "gelled at", Share: 16, Box: true}, {Title: "who", Share: 12, Box: true}},
				[][]string{{kilograms(resin), "", "", "", "", ""}})
		}
		if pads := w.mixesOf(side.of, derivation.MixPads); len(pads) > 0 {
			w.mixes("Pads under hardware", pads)
		}
		w.doc.Say(fmt.Sprintf("Trimmed part: laminate %s in the skirt or wall, %s in all, mass %s. Let each stage gel and cool before the next.",
			w.length(l.SkirtThickness), w.length(l.Thickness), kilograms(l.Mass)), drawing.Plain, drawing.Regular)
	}
}

// planned tells when an operation of the first piece is to be done, by the shop's
// clock: the part's, of a kind and stage.
func (w *writer) planned(of part.Part, kind string, stage int) {
	lt := &w.Result.LeadTime
	for i, s := range lt.Steps {
		if s.Part != string(of) || s.Piece != 1 || s.Kind != kind || s.Stage != stage {
			continue
		}
		p := lt.Placements[i]
		text := fmt.Sprintf("Planned from %s to %s", w.at(p.Start).Format(clock), w.at(p.LaborEnd).Format(clock))
		if s.Wait > 0 {
			text += fmt.Sprintf(", then left alone until %s", w.at(p.End).Format(clock))
		}
		if s.Follow > 0 {
			text += fmt.Sprintf("; what comes next begins within %s of that", hours(s.Follow.Hours()))
		}
		if w.Result.Configuration.Quantity > 1 {
			text += ": the first piece, the others are among the operations"
		}
		w.doc.Say(text+".", drawing.Plain, drawing.Regular)
		return
	}
}

// mixesOf are the mixes of a part's stage.
func (w *writer) mixesOf(of part.Part, stage int) []derivation.Mix {
	var out []derivation.Mix
	for _, m := range w.Result.Mixes {
		if m.Part == of && m.Stage == stage && m.Mass > 0 {
			out = append(out, m)
		}
	}
	return out
}

// mixes tables what to weigh out.
func (w *writer) mixes(title string, list []derivation.Mix) {
	if len(list) == 0 {
		return
	}
	if title != "" {
		w.doc.Heading(title)
	}
	var rows [][]string
	for _, m := range list {
		batch := "1 batch"
		if m.Batches > 1 {
			batch = fmt.Sprintf("%d batches of %s", m.Batches, kilograms(m.BatchMass))
		}
		rows = append(rows, []string{m.Product, kilograms(m.Mass), quantity.Decimal(m.CatalystPercent, 2) + " %, " + quantity.Decimal(m.CatalystML, 1) + " mL", quantity.Decimal(m.GelMinutes, 0) + " min", batch})
	}
	w.doc.Table([]drawing.Column{{Title: "weigh out, waste in it", Share: 34}, {Title: "mass", Share: 16, Right: true}, {Title: "catalyst or hardener", Share: 24, Right: true}, {Title: "gels in", Share: 12, Right: true}, {Title: "so mix", Share: 26}}, rows)
}

// need is what all lines of one material need together.
type need struct {
	key, name, unit string
	purposes        []string
	net, gross      float64
	pack            float64
}

// wholePack keeps 2.0000000001 packs from becoming three: far below any scale in a
// shop, far above float64 noise.
const wholePack = 1e-9

// buyList lists what to take from stock or buy: the bill's lines gathered by
// material, so that what shares a pack is counted once.
func (w *writer) buyList() {
	var list []need
	at := map[string]int{}
	for _, l := range w.Result.Bill.Lines {
		i, ok := at[l.Key]
		if !ok {
			i = len(list)
			at[l.Key] = i
			list = append(list, need{key: l.Key, name: l.Name, unit: l.Unit, pack: l.Pack})
		}
		n := &list[i]
		n.net, n.gross = n.net+l.Net, n.gross+l.Gross
		if !slices.Contains(n.purposes, l.Purpose) {
			n.purposes = append(n.purposes, l.Purpose)
		}
	}
	w.doc.Page("Buy list")
	w.doc.Say(fmt.Sprintf("For %s pieces and one set of molds. Needed with waste; packs as they are sold.", quantity.Decimal(w.Result.Configuration.Quantity, 0)), drawing.Plain, drawing.Regular)
	var rows [][]string
	for _, n := range list {
		packs := math.Ceil(n.gross/n.pack - wholePack)
		rows = append(rows, []string{n.key, n.name, strings.Join(n.purposes, ", "), amount(n.net, n.unit), amount(n.gross, n.unit), quantity.Decimal(packs, 0) + " × " + amount(n.pack, n.unit), "", ""})
	}
	w.doc.Table([]drawing.Column{{Title: "stock", Share: 17}, {Title: "material", Share: 28}, {Title: "for", Share: 12}, {Title: "net", Share: 12, Right: true}, {Title: "with waste", Share: 13, Right: true}, {Title: "packs", Share: 16, Right: true}, {Title: "in stock", Share: 10, Box: true}, {Title: "ordered", Share: 10, Box: true}}, rows)
}

// units are the price book's units as they are written on paper.
var units = map[string]string{"m2": "m²", "piece": "pc"}

func amount(x float64, unit string) string {
	if u, ok := units[unit]; ok {
		unit = u
	}
	places := 3
	if x >= 10 {
		places = 1
	}
	return strings.TrimSpace(quantity.Decimal(x, places) + " " + unit)
}
