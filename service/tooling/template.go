package tooling

import (
	"fmt"
	"math"
	"math/bits"
	"strconv"

	"hatchwright/service/outline"
	"hatchwright/service/part"
)

// Template is a board with an outline that bearings run along.
type Template struct {
	Name      string
	Outline   *outline.Outline
	Hole      bool    // the outline is that of a hole in it
	MadeFrom  string  // another template, or Drawn
	Thickness float64 // mm
	Purpose   string
	Error     float64 // accumulated, ± mm
}

// Drawn is what a master template is made from: a 1:1 drawing, sawn and filed by
// hand to the line.
const Drawn = "drawn 1:1"

// holeTemplate ends the names of templates whose inside is followed.
const holeTemplate = " hole template"

// The operations at the router.
const (
	LayOut        = "lay_out"         // a master, by hand
	RabbetAndTrim = "rabbet_and_trim" // a smaller template from a larger one
	FollowOutside = "follow_outside"  // a hole round a template
	Copy          = "copy"            // an edge as the template's
	Bevel         = "bevel"           // a square wall leaned by hand
	RoundEdge     = "round_over"
)

// RouterStep is one cut. The edge that comes out is Offset(FromOutline, Offset).
type RouterStep struct {
	Order     int
	Operation string
	Bit       string  // key in the crib; empty: hand tools
	Bearing   float64 // diameter, mm
	// TrimBit and TrimBearing are those of rabbet_and_trim that take off what the
	// rabbet leaves.
	TrimBit     string
	TrimBearing float64
	From        string // template or board
	To          string
	// Part and Board are those of the board that is cut; none where a template is.
	Part  part.Part
	Board Board
	At    string // of round_over: the figure, as RoundOver.At
	// FromOutline and ToOutline are the edges before and after; FromOutline is nil
	// where a master is laid out.
	FromOutline *outline.Outline
	ToOutline   *outline.Outline
	Offset      float64 // outward positive, mm
	Passes      int     // depths that the cut is made in
	Pieces      int     // boards that are cut so
	Pilot       float64 // diameter of the hole that the bit is let in through, mm; 0: from the edge
	// AccumulatedError is the most that the edge may be off, from the drawing on, mm.
	AccumulatedError float64
	Radius           float64 // of round_over, mm
	Miss             float64 // how far outside its place the edge is planned, mm
	ByHand           bool
	Note             string
}

// RouterPlan is the order of work at the router.
type RouterPlan struct {
	Templates  []Template
	Steps      []RouterStep
	Masters    int // templates laid out by hand
	Cuts       int // rabbets and hole templates
	BitChanges int
	// LeastCuts is a lower bound on Cuts, with every outline cut from the master it
	// is cut from here; Optimal says that Cuts meets it.
	LeastCuts int
	Optimal   bool
}

const (
	noteMaster  = "Print the drawing 1:1, check its scale bar, glue it on, saw outside the line and file to it: every error here is copied into all that follows."
	noteHandOut = "The crib does not make this outline from another template, so it has its own master. " + noteMaster
	noteRabbet  = "Fix the template under the blank, bearing on the template; rabbet in light depths, then trim what is left with the bearing on the rabbeted edge. Clamp the work, feed against the rotation."
	noteFollow  = "Fix the template on the board. Drill a pilot hole of the bit's diameter outside the template and let the bit in there: no plunge. Clamp the board, feed against the rotation with the bearing on the template all round."
	noteCopy    = "Saw 2 to 3 mm outside the line, fix the template, clamp, feed against the rotation with the bearing on the template."
	noteInside  = "Saw 2 to 3 mm inside the line, fix the hole template, clamp, feed against the rotation with the bearing on the hole's edge."
	noteLean    = " The tapered bit leans the wall: template at the face where the outline is true."
	noteDepths  = " The wall is higher than the bit cuts: the bearing of each further depth rides on the wall already cut; fair the line between them."
	noteHand    = "No bit of the crib does this: saw and file to the template's edge."
	noteCorners = " The bit is too wide for the corners: square them up by hand to the template."
	noteBevel   = "No tapered bit of this draft: lean the wall with plane and file to a bevel gauge, the edge at the template's face left as it is."
	noteRound   = "Run the bearing along the wall in two depths; clamp, feed against the rotation."
	noteRoundBy = "The wall under the edge is lower than the bit reaches, or no bit has this radius: round it by hand to a radius gauge."
	noteRing    = " Glue the gutter ring on first: its outside is one wall with the block's."
	noteMissed  = " The crib comes within the shop's size tolerance, not to the figure itself."
)

// routerPlan turns groups into templates and steps.
func (c *Crib) routerPlan(needs []need, groups []group) (RouterPlan, error) {
	var p RouterPlan
	var cuts []cut
	masters := 0
	sets := make([]uint64, 0, 8)
	rabbets := 0
	for i := range groups {
		p.Cuts += groups[i].cuts
		p.LeastCuts += groups[i].bound
		rabbets += groups[i].cuts
		for j, n := range groups[i].needs {
			o := &needs[n].options[groups[i].choice[j]]
			sets = o.sets(sets)
			rabbets -= o.cuts
		}
	}
	p.Optimal = p.Cuts == p.LeastCuts
	if rabbets > 0 {
		sets = append(sets, c.trimmers())
	}
	chosen := cover(sets, 0)
	trim := -1
	if rabbets > 0 {
		trim = bits.TrailingZeros64(chosen & c.trimmers())
	}
	p.Templates = make([]Template, 0, rabbets+len(groups)+1)
	p.Steps = make([]RouterStep, 0, 2*(rabbets+len(groups))+2*len(needs))
	for i := range groups {
		g := &groups[i]
		var err error
		if cuts, err = c.growTree(&p, g, needs, trim, masters, cuts); err != nil {
			return p, err
		}
		masters++
	}
	p.Masters = masters
	if err := c.boards(&p, cuts, needs, chosen, trim); err != nil {
		return p, err
	}
	p.BitChanges = changes(p.Steps)
	return p, nil
}

// cut is a board, or the hole template before it, still to be cut.
type cut struct {
	need     int
	option   option
	template int
	err      float64 // of the template
	miss     float64
}

// growTree lays out a group's master and cuts its templates.
func (c *Crib) growTree(p *RouterPlan, g *group, needs []need, trim, masters int, cuts []cut) ([]cut, error) {
	tree := newTree(g.paths)
	first := len(p.Templates)
	served := make([]int, len(tree)) // 1 + the need whose template it is
	for i, n := range g.needs {
		at := locate(tree, g.paths[i])
		if served[at] == 0 {
			served[at] = n + 1
		}
		o := needs[n].options[g.choice[i]]
		cuts = append(cuts, cut{need: n, option: o, template: first + at, miss: g.miss[i]})
	}
	lead := &needs[g.needs[0]]
	top := g.top - lead.options[g.choice[0]].follow
	master, err := lead.outline.Offset(top)
	if err != nil {
		return cuts, fmt.Errorf("master template of the %s: %w", lead.name, err)
	}
	outlines := make([]outline.Outline, len(tree))
	outlines[0] = master
	errs := make([]float64, len(tree))
	errs[0] = c.practice.LayoutError
	for i := range tree {
		t := Template{Name: c.templateName(i, len(p.Templates), served[i], needs), Outline: &outlines[i], MadeFrom: Drawn, Thickness: c.practice.TemplateThickness}
		if n := served[i] - 1; n >= 0 {
			t.Purpose = purpose(&needs[n])
			t.Hole = needs[n].hole && needs[n].options[0].follow == 0
		} else {
			t.Purpose = "cut further templates from"
		}
		step := RouterStep{Order: len(p.Steps) + 1, Operation: LayOut, To: t.Name, ToOutline: t.Outline, Passes: 1, Pieces: 1, ByHand: true, Note: noteMaster}
		if i == 0 && masters > 0 {
			step.Note = noteHandOut
		}
		if i > 0 {
			s := c.steps[tree[i].step]
			from := tree[i].parent
			if outlines[i], err = outlines[from].Offset(-s.size); err != nil {
				return cuts, fmt.Errorf("%s: %w", t.Name, err)
			}
			errs[i] = errs[from] + c.stepError()
			t.MadeFrom = p.Templates[first+from].Name
			step.Operation, step.Bit, step.Bearing = RabbetAndTrim, s.bit, s.bearing
			step.TrimBit, step.TrimBearing = c.tool(trim).key, c.tool(trim).diameter
			step.From, step.FromOutline, step.Offset = t.MadeFrom, &outlines[from], -s.size
			step.ByHand, step.Note = false, noteRabbet
		}
		t.Error, step.AccumulatedError = errs[i], errs[i]
		p.Templates = append(p.Templates, t)
		p.Steps = append(p.Steps, step)
	}
	for i := range cuts {
		if cuts[i].template >= first {
			cuts[i].err = errs[cuts[i].template-first]
		}
	}
	return cuts, nil
}

func (c *Crib) templateName(i, count, served int, needs []need) string {
	switch {
	case served > 0:
		return needs[served-1].name + " template"
	case i == 0:
		return "master template"
	}
	return "stage template " + strconv.Itoa(count+1)
}

func purpose(n *need) string {
	switch {
	case !n.hole:
		return "copy the edge of the " + string(n.part) + " mold's " + n.board.String()
	case n.options[0].follow == 0:
		return "copy the hole of the " + string(n.part) + " mold's " + n.board.String()
	}
	return "cut the hole of the " + string(n.part) + " mold's " + n.board.String() + " round it"
}

// boards cuts the boards from their templates: what the trimming bit does first,
// then straight bits, tapered bits last, each bit's work together.
func (c *Crib) boards(p *RouterPlan, cuts []cut, needs []need, chosen uint64, trim int) error {
	var failed error
	outset := func(o *outline.Outline, d float64, what string) *outline.Outline {
		out, err := o.Offset(d)
		if err != nil && failed == nil {
			failed = fmt.Errorf("%s: %w", what, err)
		}
		return &out
	}
	add := func(s RouterStep) {
		s.Order = len(p.Steps) + 1
		p.Steps = append(p.Steps, s)
	}
	cutBoard := func(k *cut, with int) {
		n, o := &needs[k.need], &k.option
		from := &p.Templates[k.template]
		s := RouterStep{Operation: Copy, From: from.Name, FromOutline: from.Outline, ToOutline: from.Outline, To: n.board.Label(n.part), Part: n.part, Board: n.board,
			Passes: o.passes, Pieces: n.pieces, AccumulatedError: k.err + o.err, Miss: -k.miss, Note: noteCopy}
		if n.hole {
			s.Note = noteInside
		}
		if with >= 0 {
			t := c.tool(with)
			s.Bit, s.Bearing = t.key, t.diameter
			if t.draft > 0 {
				s.Pieces = 1 // the glued stack
				s.Note += noteLean
			}
			if o.passes > 1 {
				s.Note += noteDepths
			}
			if n.hole && o.follow > 0 && o.frame < 0 {
				s.Operation, s.Offset, s.Pilot = FollowOutside, t.diameter, t.diameter
				s.ToOutline, s.Note = outset(from.Outline, t.diameter, s.To), noteFollow+s.Note[len(noteInside):]
			}
		} else {
			s.ByHand, s.Note = true, noteHand
		}
		if n.corners && with >= 0 {
			s.ByHand = true
			s.Note += noteCorners
		}
		if n.ring {
			s.Note += noteRing
		}
		if math.Abs(k.miss) > sameSize {
			s.Note += noteMissed
		}
		s.AccumulatedError += math.Abs(k.miss)
		add(s)
		if n.bevel {
			add(RouterStep{Operation: Bevel, From: s.To, To: s.To, Part: s.Part, Board: s.Board, FromOutline: s.ToOutline, ToOutline: s.ToOutline, Passes: 1, Pieces: 1,
				AccumulatedError: s.AccumulatedError, Miss: s.Miss, ByHand: true, Note: noteBevel})
		}
	}
	hole := func(k *cut) {
		n, t := &needs[k.need], c.tool(k.option.frame)
		from := p.Templates[k.template]
		e := k.err + c.wallError(t.passes(c.practice.TemplateThickness), 0)
		frame := Template{Name: n.name + holeTemplate, Outline: outset(from.Outline, t.diameter, n.name+holeTemplate), Hole: true, MadeFrom: from.Name,
			Thickness: c.practice.TemplateThickness, Purpose: "copy the hole of the " + string(n.part) + " mold's " + n.board.String(), Error: e}
		p.Templates = append(p.Templates, frame)
		add(RouterStep{Operation: FollowOutside, Bit: t.key, Bearing: t.diameter, From: from.Name, To: frame.Name, FromOutline: from.Outline, ToOutline: frame.Outline,
			Offset: t.diameter, Passes: t.passes(c.practice.TemplateThickness), Pieces: 1, Pilot: t.diameter, AccumulatedError: e, Note: noteFollow})
		k.template, k.option.frame = len(p.Templates)-1, -1
		k.option.err -= c.wallError(t.passes(c.practice.TemplateThickness), 0)
		k.option.follow, k.err = 0, e
	}
	done := make([]bool, len(cuts))
	use := func(with int) {
		for i := range cuts {
			if !done[i] && cuts[i].option.frame == with {
				hole(&cuts[i])
			}
		}
		for i := range cuts {
			k := &cuts[i]
			if !done[i] && k.option.frame < 0 && (with < 0 && k.option.tools == 0 || with >= 0 && k.option.tools&chosen&(1<<with) != 0) {
				cutBoard(k, with)
				done[i] = true
			}
		}
	}
	if trim >= 0 {
		use(trim)
	}
	for rest := chosen; rest != 0; rest &= rest - 1 {
		if i := bits.TrailingZeros64(rest); i != trim {
			use(i)
		}
	}
	use(-1)
	return failed
}

// changes counts the times that the bit, or its bearing, is changed between one
// pass and the next. Work by hand changes nothing.
func changes(steps []RouterStep) int {
	type setup struct {
		bit     string
		bearing float64
	}
	var now setup
	n := -1
	next := func(s setup) {
		if s != now {
			now = s
			n++
		}
	}
	for i := range steps {
		s := &steps[i]
		if s.Bit == "" {
			continue
		}
		next(setup{s.Bit, s.Bearing})
		if s.TrimBit != "" {
			next(setup{s.TrimBit, s.TrimBearing})
		}
	}
	return max(n, 0)
}
