package derivation

import (
	"fmt"

	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// Laminate is one part's laminate.
type Laminate struct {
	Stack     laminate.Stack
	Resin     shop.Resin
	Gelcoat   shop.Gelcoat
	Rows      []shop.Reinforcement // one for each ply, mold face first
	Core      *shop.Core
	CoreAt    int // index of the first ply behind the core
	Thickness float64
	// SkirtThickness is that of the plies without the core, mm.
	SkirtThickness float64

	// Once the geometry is known:
	Area        float64 // molded surface of the part, mm2
	LaidArea    float64 // what glass and gelcoat are laid on, overrun included, mm2
	CoreArea    float64 // mm2
	GlassMass   float64 // laid, kg
	ResinMass   float64 // laid in the plies and under the core, kg
	GelcoatMass float64 // film on the laid area, kg
	Mass        float64 // of the trimmed part with its pads, kg, hardware not counted
	Stages      []Stage

	// Panel is the span that the lid bridges, Checks its loads on the stack; of the
	// lid only.
	Panel  laminate.Panel
	Checks []laminate.Result
	// Strips are checks of the receiver's ledge and flange.
	Strips []Strip
	Masses Masses
	// PadPlyArea is the area of the plies of the pads under hardware, mm2; of the lid
	// only.
	PadPlyArea float64
	// Selection tells how an automatic schedule was chosen; nil for any other.
	Selection *Selection
}

// Stage is a run of plies that is laid wet in wet.
type Stage struct {
	Plies     []int   // indices into Rows
	Thickness float64 // mm
	Core      bool    // begins with bedding the core
}

// choose builds both stacks from what the configuration and the shop say. What
// is not stocked is told as findings.
func choose(c *part.Configuration, d shop.Documents) (lid, receiver Laminate, list []finding.Finding) {
	resin, ok := d.Materials.Resin(c.Laminate.Resin)
	if !ok {
		list = append(list, notStocked("laminate.resin_unknown", "/laminate/resin", c.Laminate.Resin, "resin", names(d.Materials.Resins, func(r shop.Resin) string { return r.Key })))
	}
	gelcoat, ok := d.Materials.Gelcoat(c.Gelcoat.Color)
	if !ok {
		list = append(list, notStocked("gelcoat.color_unknown", "/gelcoat/color", c.Gelcoat.Color, "gelcoat color", names(d.Materials.Gelcoats, func(g shop.Gelcoat) string { return g.Color })))
	}
	std := d.Profile.Standard
	lidKeys := append(append(append([]string{}, std.LidOuter...), c.Lid.Core), std.LidInner...)
	receiverKeys := std.Receiver
	lidAt, receiverAt := "/lid/core", "/laminate/schedule"
	if c.Laminate.Schedule == part.ScheduleListed {
		lidKeys, receiverKeys = c.Laminate.Lid, c.Laminate.Receiver
		lidAt, receiverAt = "/laminate/lid", "/laminate/receiver"
	}
	if c.Laminate.Schedule == part.ScheduleAuto {
		lid = Laminate{Resin: resin, Gelcoat: gelcoat} // chosen once the span is known
		var faults []finding.Finding
		receiver, faults = build(receiverKeys, receiverAt, false, resin, gelcoat, d)
		return lid, receiver, append(list, faults...)
	}
	var faults []finding.Finding
	lid, faults = build(lidKeys, lidAt, true, resin, gelcoat, d)
	list = append(list, faults...)
	receiver, faults = build(receiverKeys, receiverAt, false, resin, gelcoat, d)
	return lid, receiver, append(list, faults...)
}

func names[T any](rows []T, of func(T) string) []string {
	out := make([]string, len(rows))
	for i, r := range rows {
		out[i] = of(r)
	}
	return out
}

func notStocked(code, pointer, asked, what string, stocked []string) finding.Finding {
	f := finding.Finding{
		Code: code, Severity: finding.Error, Pointer: pointer,
		Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: "shop setting: stocked materials",
	}.Say("No %s %q is stocked; each mend names one that is.", what, asked)
	for _, s := range stocked {
		f.Mends = append(f.Mends, finding.Choose(pointer, s))
	}
	return f
}

func build(keys []string, pointer string, mayCore bool, resin shop.Resin, gelcoat shop.Gelcoat, d shop.Documents) (Laminate, []finding.Finding) {
	l := Laminate{Resin: resin, Gelcoat: gelcoat}
	var list []finding.Finding
	wet := resin.Material(d.Materials.Catalyst)
	coat := gelcoat.Material(d.Materials.Catalyst)
	l.Stack.Gelcoat = &coat
	for i, key := range keys {
		at := pointer
		if pointer == "/laminate/lid" || pointer == "/laminate/receiver" {
			at = fmt.Sprintf("%s/%d", pointer, i)
		}
		if key == part.NoCore {
			continue
		}
		if core, ok := d.Materials.Core(key); ok {
			if !mayCore || l.Core != nil {
				list = append(list, finding.Finding{
					Code: "laminate.core_misplaced", Severity: finding.Error, Pointer: at,
					Measured: quantity.Of(1, quantity.Count), Limit: quantity.Of(0, quantity.Count), Source: "shop rule: one core, and only in the lid",
				}.Say("The core %q cannot stand here: a lid takes one core, a receiver none.", key))
				continue
			}
			l.Core, l.CoreAt = &core, len(l.Rows)
			material := core.Material()
			l.Stack.Core = &material
			continue
		}
		row, ok := d.Materials.Ply(key)
		if !ok {
			kind, stocked := "ply", names(d.Materials.Reinforcements, func(r shop.Reinforcement) string { return r.Key })
			if at == "/lid/core" {
				kind, stocked = "core", append(names(d.Materials.Cores, func(c shop.Core) string { return c.Key }), part.NoCore)
			}
			f := notStocked("laminate.material_unknown", at, key, kind, stocked)
			if key == part.AutoCore {
				f = f.Say("The core is left to choose, but the schedule is not automatic.")
				f.Mends = append(f.Mends, finding.Choose("/laminate/schedule", part.ScheduleAuto))
			}
			list = append(list, f)
			continue
		}
		ply := laminate.Ply{Reinforcement: row.Material(), Resin: wet}
		l.Rows = append(l.Rows, row)
		if l.Stack.Core == nil {
			l.Stack.Outer = append(l.Stack.Outer, ply)
		} else {
			l.Stack.Inner = append(l.Stack.Inner, ply)
		}
	}
	if len(list) > 0 {
		return l, list
	}
	if len(l.Stack.Outer) == 0 || l.Stack.Core != nil && len(l.Stack.Inner) == 0 {
		at := pointer
		list = append(list, finding.Finding{
			Code: "laminate.skin_missing", Severity: finding.Error, Pointer: at,
			Measured: quantity.Of(0, quantity.Count), Limit: quantity.Of(1, quantity.Count), Source: "shop rule: glass on the mold face, and on both faces of a core",
		}.Say("A skin has no ply: list at least one ply on the mold face, and one behind the core."))
		return l, list
	}
	if first := l.Rows[0]; first.Kind != string(laminate.Mat) || first.ArealMass > barrierMass {
		list = append(list, finding.Finding{
			Code: "laminate.no_barrier", Severity: finding.Caution, Pointer: barrierPointer(pointer),
			Measured: quantity.Of(first.ArealMass/1000, quantity.Kilogram), Limit: quantity.Of(barrierMass/1000, quantity.Kilogram),
			Source: "common practice, no published source: a light mat against the gelcoat stops print-through",
			Mends:  barrierMends(barrierPointer(pointer), d),
		}.Say("The ply against the gelcoat is %q; fabric prints through: put a mat of %v per square meter or less there.", first.Key, quantity.Of(barrierMass/1000, quantity.Kilogram)))
	}
	l.SkirtThickness = l.Stack.OuterThickness() + l.Stack.InnerThickness()
	l.Thickness = l.Stack.Thickness()
	l.Stages = stages(l.Stack)
	for i, st := range l.Stack.Stages() {
		if !st.Over {
			continue
		}
		at := pointer
		if pointer == "/laminate/lid" || pointer == "/laminate/receiver" {
			at = fmt.Sprintf("%s/%d", pointer, l.listed(l.Stages[i].Plies[0]))
		}
		f := finding.Finding{
			Code: "laminate.ply_over_exotherm", Severity: finding.Caution, Pointer: at,
			Measured: quantity.Length(st.Thickness), Limit: quantity.Length(resin.ExothermLimit), Source: "the resin's own limit",
		}.Say("One ply alone is %v thick; %q may be laid %v at a time, or it overheats.", quantity.Length(st.Thickness), resin.Key, quantity.Length(resin.ExothermLimit))
		if at != pointer {
			for _, r := range d.Materials.Reinforcements {
				if r.ArealMass < l.Rows[l.Stages[i].Plies[0]].ArealMass {
					f.Mends = append(f.Mends, finding.Choose(at, r.Key))
				}
			}
		}
		list = append(list, f)
	}
	return l, list
}

// listed is where ply i stands in a list of plies and core.
func (l *Laminate) listed(i int) int {
	if l.Core != nil && i >= l.CoreAt {
		return i + 1
	}
	return i
}

// barrierMass is the heaviest mat that counts as a print-through barrier, g/m2.
const barrierMass = 300.0

func barrierPointer(pointer string) string {
	if pointer == "/laminate/lid" || pointer == "/laminate/receiver" {
		return pointer + "/0"
	}
	return pointer
}

func barrierMends(pointer string, d shop.Documents) []finding.Mend {
	var out []finding.Mend
	for _, r := range d.Materials.Reinforcements {
		if r.Kind == string(laminate.Mat) && r.ArealMass <= barrierMass {
			out = append(out, finding.Choose(pointer, r.Key))
		}
	}
	return out
}

// stages are the laminate's, as lists of plies.
func stages(s laminate.Stack) []Stage {
	var out []Stage
	for _, st := range s.Stages() {
		next := Stage{Thickness: st.Thickness, Core: st.Core}
		for i := st.First; i <= st.Last; i++ {
			next.Plies = append(next.Plies, i)
		}
		out = append(out, next)
	}
	return out
}

// Areas of mm2 become m2 with squareMeter.
const squareMeter = 1e-6

// fill works out areas and what is laid once the surfaces are known.
func (l *Laminate) fill(area, laid, core float64) {
	l.Area, l.LaidArea, l.CoreArea = area, laid, core
	solid := l.Stack
	solid.Core, solid.Gelcoat = nil, nil
	solid.Outer, solid.Inner = l.Stack.Plies(), nil
	m := solid.Mass()
	l.GlassMass = m.Glass * laid * squareMeter
	l.ResinMass = m.Resin * laid * squareMeter
	film := laminate.Stack{Gelcoat: l.Stack.Gelcoat}.Mass().Gelcoat
	l.GelcoatMass = film * laid * squareMeter
	if l.Core != nil {
		l.ResinMass += l.Core.BedResin * core * squareMeter
	}
}
