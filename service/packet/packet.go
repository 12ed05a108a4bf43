package packet

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/tooling"
)

// Request says what the packet is of.
type Request struct {
	Result *derivation.Result
	Units  quantity.System
	Date   civil.Date
	Paper  drawing.Paper // zero: the one that goes with the units
	Shop   string        // name on the cover
	// Location is the shop's time zone; nil leaves planned times in the zone that they
	// come in.
	Location *time.Location
	// Plan says that the result's lead time is of an order, behind the shop's open work;
	// nil: of a shop with nothing else to do.
	Plan *Plan
	// AllTemplates prints every template at full size, not only the masters that are
	// laid out from paper.
	AllTemplates bool
	// MixesAt works out the table of mixes over the shop's temperature; nil leaves that
	// page out.
	MixesAt Mixer
}

// Plan is what the planned times of an order rest on.
type Plan struct {
	Order   string // what people call it
	Promise string // the day promised, "" for none
	AsOf    time.Time
	// Left out are operations that are not in the plan: finished, or of molds that are
	// there.
	LeftOut int
}

// ErrNotMakeable says that there is nothing to work from.
var ErrNotMakeable = errors.New("packet: the configuration cannot be made; its findings say how to mend it")

// Write makes the packet as a PDF.
//
// Errors: [ErrNotMakeable]; others name the drawing that could not be made.
func Write(req Request) ([]byte, error) {
	sheets, err := Sheets(req)
	if err != nil {
		return nil, err
	}
	return drawing.WritePDF(sheets, drawing.Info{
		Title: "Shop packet " + drawing.ShortDigest(req.Result.Digest), Subject: "configuration " + req.Result.Digest, Date: req.Date})
}

// Sheets makes the packet's pages.
func Sheets(req Request) ([]drawing.Sheet, error) {
	if req.Result == nil || !req.Result.Makeable() {
		return nil, ErrNotMakeable
	}
	w := writer{Request: req, drawings: drawing.Request{Result: req.Result, Units: req.Units, Date: req.Date, Paper: req.Paper}}
	paper := req.Paper
	if paper.Width == 0 {
		paper = drawing.PaperFor(req.Units)
	}
	w.doc = drawing.NewDocument(paper)
	contents := w.cover()
	w.part("Drawings", func() { w.insert("plan", "section", "fit", "exploded") })
	w.part("Cut list and sheets", w.cutList)
	w.part("Router steps", w.router)
	w.part("Molds", w.molds)
	w.part("Laminates", w.laminates)
	w.part("Strength of the lid", w.strength)
	w.part("Mixes by shop temperature", w.mixTable)
	w.part("Operations", w.operations)
	w.part("Inspection", w.inspection)
	w.part("Buy list", w.buyList)
	w.part("Templates at full size", w.templates)
	if w.err != nil {
		return nil, fmt.Errorf("packet: %w", w.err)
	}
	contents(w.contents)
	return w.doc.Finish(w.drawings), nil
}

type writer struct {
	Request
	drawings drawing.Request
	doc      *drawing.Document
	contents [][2]string
	err      error
}

// part adds a part to the contents, on the page that it begins on.
func (w *writer) part(title string, pages func()) {
	at := w.doc.Pages()
	pages()
	if w.doc.Pages() > at {
		w.contents = append(w.contents, [2]string{title, fmt.Sprintf("page %d", at+1)})
	}
}

// insert adds drawings that there are.
func (w *writer) insert(names ...string) {
	there := map[string]bool{}
	for _, n := range drawing.Names(w.Result) {
		there[n] = true
	}
	for _, n := range names {
		if !there[n] || w.err != nil {
			continue
		}
		sheets, title, scale, err := drawing.Bare(n, w.drawings)
		if err != nil {
			w.err = err
			return
		}
		w.doc.Insert(title, scale, sheets...)
	}
}

// at is a time as the shop's clock shows it.
func (w *writer) at(t time.Time) time.Time {
	if w.Location != nil {
		return t.In(w.Location)
	}
	return t
}

func (w *writer) length(mm float64) string { return drawing.Length(mm, w.Units) }

func (w *writer) size(length, width float64) string {
	return w.length(length) + " × " + w.length(width)
}

func kilograms(kg float64) string {
	if kg < 1 {
		return quantity.Decimal(kg*1000, 0) + " g"
	}
	return quantity.Decimal(kg, 2) + " kg"
}

func squareMeters(mm2 float64) string { return quantity.Decimal(mm2*1e-6, 3) + " m²" }

func hours(h float64) string { return quantity.Decimal(h, 2) + " h" }

var verdicts = map[finding.Verdict]string{
	finding.Makeable: "Makeable", finding.MakeableWithCautions: "Makeable with cautions", finding.NotMakeable: "Not makeable",
}

// cover says what the packet is of and what to mind. It returns what fills in the
// contents.
func (w *writer) cover() func([][2]string) {
	r, c := w.Result, &w.Result.Configuration
	w.doc.Page("Shop packet")
	if w.Shop != "" {
		w.doc.Say(w.Shop, drawing.Heading, drawing.Bold)
	}
	o := r.Geometry.Outlines
	facts := [][]string{
		{"hatch", strings.ReplaceAll(string(c.Pattern), "-", " ") + ", " + c.Outline.Shape},
		{"to make", pieces(int(c.Quantity))},
		{"recess, at the deck", w.size(o.Recess.Length(), o.Recess.Width())},
		{"clear opening", w.size(o.ClearOpening.Length(), o.ClearOpening.Width())},
		{"deck cut-out", w.size(o.DeckCutout.Length(), o.DeckCutout.Width())},
		{"lid, mass without hardware", kilograms(r.Lid.Mass)},
		{"receiver, mass", kilograms(r.Receiver.Mass)},
		{"gelcoat", r.Lid.Gelcoat.Name + ", " + c.Gelcoat.Surface},
		{"resin", r.Lid.Resin.Name},
		{"work starts", w.at(r.LeadTime.Start).Format(moment) + ", " + w.behind()},
		{"work ends", w.ends()},
		{"labor", hours(r.LeadTime.WorkingHours)},
		{"configuration", r.Digest},
		{"formulas, catalog, price book", "version " + r.Revision.Engine + ", " + r.Revision.Catalog + ", " + r.Revision.PriceBook},
	}
	if w.Plan != nil {
		facts = append(facts, []string{"order", w.Plan.Order})
		if w.Plan.Promise != "" {
			facts = append(facts, []string{"promised", promised(w.Plan.Promise)})
		}
	}
	for _, h := range c.Hardware {
		facts = append(facts, []string{"hardware", fmt.Sprintf("%d of %s, %s edge", h.Count, h.Item, h.Edge)})
	}
	w.doc.Table([]drawing.Column{{Title: "what", Share: 30}, {Title: "this hatch", Share: 70}}, facts)

	w.doc.Heading("Verdict: " + verdicts[r.Verdict])
	if len(r.Findings) > 0 {
		var rows [][]string
		for _, f := range r.Findings {
			rows = append(rows, []string{f.Severity.String(), f.Message(w.Units), w.mends(f), ""})
		}
		w.doc.Table([]drawing.Column{{Title: "kind", Share: 9}, {Title: "finding", Share: 52}, {Title: "what would mend it, each alone", Share: 30}, {Title: "seen", Share: 9, Box: true}}, rows)
	} else {
		w.doc.Say("No findings.", drawing.Plain, drawing.Regular)
	}
	w.doc.Heading("Cautions")
	for _, text := range r.Cautions {
		w.doc.Say("–  "+text, drawing.Small, drawing.Regular)
	}
	w.doc.Room(contentsRoom)
	w.doc.Heading("Contents")
	return w.doc.Later(mostParts)
}

// behind says what the planned times stand behind.
func (w *writer) behind() string {
	if w.Plan == nil {
		return "as if the shop had nothing else to do"
	}
	return "behind the open work as of " + w.at(w.Plan.AsOf).Format(moment)
}

// ends says when the work ends, and on which working day where that is another.
func (w *writer) ends() string {
	end := w.at(w.Result.LeadTime.Finish)
	text := end.Format(moment)
	if on := w.Result.LeadTime.FinishDay; on != civil.DateOf(end, end.Location()) {
		text += ", working day " + dayText(on)
	}
	return text
}

func promised(text string) string {
	if on, err := civil.ParseDate(text); err == nil {
		return dayText(on)
	}
	return text
}

func dayText(d civil.Date) string { return d.At(0, time.UTC).Format(day) }

// mostParts is how many parts a packet has at most.
const mostParts = 10

// contentsRoom keeps the contents with their heading, mm.
const contentsRoom = 16 + mostParts*5

// day and moment are how days and times are written.
const (
	day    = "Mon 2 Jan 2006"
	moment = day + " 15:04"
)

// mends writes what would make a finding go away.
func (w *writer) mends(f finding.Finding) string {
	var out []string
	for _, m := range f.Mends {
		name := strings.ReplaceAll(strings.ReplaceAll(strings.TrimPrefix(m.Pointer, "/"), "/", " "), "_", " ")
		name = strings.TrimSuffix(name, " deg")
		value := m.Word
		if value == "" {
			value = m.Value.Text(w.Units)
		}
		out = append(out, name+": "+value)
	}
	return strings.Join(out, "; ")
}

// cutList lists the panels and shows the sheets.
func (w *writer) cutList() {
	l := w.Result.CutList
	w.doc.Page("Cut list")
	w.doc.Say(fmt.Sprintf("Saw these first, MDF. %d sheets; no plan needs fewer than %d. Sizes are as sawn, allowances in them.", len(l.Sheets), l.SheetBound), drawing.Plain, drawing.Regular)
	var rows [][]string
	for _, p := range l.Panels {
		name := p.Name
		if p.Joined > 1 {
			name += fmt.Sprintf(" (%d strips joined edge to edge)", p.Joined)
		}
		rows = append(rows, []string{name, p.Stock, w.length(p.Thickness), w.length(p.Length), w.length(p.Width), pieces(p.Quantity), ""})
	}
	w.doc.Table([]drawing.Column{{Title: "panel", Share: 30}, {Title: "stock", Share: 12}, {Title: "thickness", Share: 14, Right: true}, {Title: "length", Share: 16, Right: true}, {Title: "width", Share: 16, Right: true}, {Title: "quantity", Share: 12, Right: true}, {Title: "sawn", Share: 9, Box: true}}, rows)
	var names []string
	for i := range l.Sheets {
		names = append(names, fmt.Sprintf("sheet-%d", i+1))
	}
	w.insert(names...)
}

func (w *writer) router() {
	w.insert("router")
}

// templates prints the masters at full size, or all.
func (w *writer) templates() {
	for i := range w.Result.Templates {
		if t := &w.Result.Templates[i]; w.AllTemplates || t.MadeFrom == tooling.Drawn {
			w.insert(drawing.TemplateName(t))
		}
	}
}

var kinds = map[string]string{tooling.Plug: "male plug", tooling.Cavity: "female cavity"}

// radiusName says where the corners are that the figure at a pointer rounds.
func (w *writer) radiusName(at string) string {
	if at == tooling.AtRim {
		return "top rim of the boards"
	}
	g := &w.Result.Geometry
	for _, v := range slices.Concat(g.ReceiverProfile.Vertices(), g.LidProfile.Vertices()) {
		if v.Name == at {
			return part.CornerName(v.Corner)
		}
	}
	return at
}

// molds are the build sheets: layers, every radius, screws, faces.
func (w *writer) molds() {
	for _, m := range w.Result.Molds {
		w.doc.Page("Mold of the " + string(m.Part) + ", " + kinds[m.Kind])
		if k := w.Result.Tolerance.MoldScale; k > 1 {
			w.doc.Say("Made larger by × "+quantity.Decimal(k, 5)+" against shrinkage; the sizes in these tables are the mold's.", drawing.Plain, drawing.Bold)
		}
		w.doc.Heading("Boards and blocks, from the bench up")
		var rows [][]string
		for _, l := range m.Layers {
			var sheets []string
			for _, s := range l.Stack.Sheets {
				sheets = append(sheets, w.length(s.Thickness))
			}
			edge, corners := "square board", ""
			if l.Outline != nil {
				edge = w.size(l.Outline.Length(), l.Outline.Width())
				corners = "least corner R " + w.length(l.Outline.MinCornerRadius())
				if l.Board.IsHole() {
					edge = "hole " + edge
				}
			}
			board := w.size(l.Length, l.Width)
			high := w.length(l.Stack.Thickness)
			if l.Stack.Target > 0 && l.Stack.Thickness-l.Stack.Target > surfaced && l.Board == tooling.RecessBlock {
				high += ", surfaced down to " + w.length(l.Stack.Target)
			}
			rows = append(rows, []string{l.Board.String(), board, strings.Join(sheets, " + "), high, strings.TrimSpace(edge + ". " + corners), ""})
		}
		w.doc.Table([]drawing.Column{{Title: "layer", Share: 14}, {Title: "board", Share: 22}, {Title: "MDF sheets", Share: 20}, {Title: "height", Share: 16}, {Title: "edge", Share: 26}, {Title: "done", Share: 8, Box: true}}, rows)

		w.doc.Heading("Radii")
		rows = nil
		for _, f := range m.Fillets {
			rows = append(rows, []string{w.radiusName(f.At), "R " + w.length(f.Radius), "fillet of filler, drawn with a radius tool", quantity.Decimal(f.Length/1000, 2) + " m, " + quantity.Decimal(f.Volume/1000, 0) + " cm³", ""})
		}
		for _, e := range m.RoundOvers {
			rows = append(rows, []string{w.radiusName(e.At), "R " + w.length(e.Radius), w.roundedBy(m.Part, e.At), quantity.Decimal(e.Length/1000, 2) + " m", ""})
		}
		if len(rows) == 0 {
			rows = append(rows, []string{"none", "", "", "", ""})
		}
		w.doc.Table([]drawing.Column{{Title: "where", Share: 26}, {Title: "radius", Share: 18}, {Title: "how", Share: 34}, {Title: "along", Share: 20, Right: true}, {Title: "done", Share: 8, Box: true}}, rows)
		w.doc.Heading("Drafts")
		w.doc.Say(w.drafts(m), drawing.Plain, drawing.Regular)
		w.doc.Heading("Faces")
		w.doc.Say(fmt.Sprintf("Face to seal, wax and lay on: %s, overrun past the trim line in it. Filler %s with hardener %s. MDF %s.", squareMeters(m.FaceArea), kilograms(m.FillerMass), kilograms(m.HardenerMass), kilograms(m.MDFMass)), drawing.Plain, drawing.Regular)
		for _, x := range w.Result.Mixes {
			if x.Part == m.Part && x.Stage == derivation.MixFiller && x.Mass > 0 {
				w.mixes("Filler to mix, waste in it", []derivation.Mix{x})
			}
		}
		w.screws(m.Part)
		w.insert("mold-" + string(m.Part))
	}
}

// surfaced is how much a stack may stand over its target and still count as it, mm.
const surfaced = 0.01

// roundedBy says how an edge is rounded: the router step's own word.
func (w *writer) roundedBy(of part.Part, at string) string {
	for _, s := range w.Result.Steps {
		if s.Operation == tooling.RoundEdge && s.Part == of && s.At == at {
			if s.ByHand {
				return "round over by hand, step " + fmt.Sprint(s.Order)
			}
			return "router, " + s.Bit + ", step " + fmt.Sprint(s.Order)
		}
	}
	return "round over"
}

func (w *writer) drafts(m tooling.Mold) string {
	c := &w.Result.Configuration
	if m.Part == part.Lid {
		return "Wall of the hole leans outward from the base up by " + drawing.Degrees(c.Lid.Draft) + "."
	}
	if !c.HasTrunk() {
		return "Flat: no walls."
	}
	return "Recess wall " + drawing.Degrees(c.Receiver.Draft) + ", trunk " + drawing.Degrees(c.Receiver.TrunkDraft) + ", so that the part comes off."
}

func (w *writer) screws(of part.Part) {
	var rows [][]string
	for _, s := range w.Result.Screws {
		if s.Part != of {
			continue
		}
		rows = append(rows, []string{s.Board.String(), fmt.Sprintf("sheet %d from the bottom", s.Sheet), fmt.Sprintf("%d screws", len(s.Positions)), w.length(s.Length), w.length(s.Pitch), w.length(s.Edge), ""})
	}
	if len(rows) == 0 {
		return
	}
	w.doc.Heading("Screws, drilled and countersunk first")
	w.doc.Table([]drawing.Column{{Title: "board", Share: 16}, {Title: "sheet", Share: 22}, {Title: "screws", Share: 14, Right: true}, {Title: "length", Share: 16, Right: true}, {Title: "pitch", Share: 16, Right: true}, {Title: "from the edge", Share: 16, Right: true}, {Title: "done", Share: 8, Box: true}}, rows)
}

func pieces(n int) string {
	if n == 1 {
		return "1 piece"
	}
	return fmt.Sprintf("%d pieces", n)
}
