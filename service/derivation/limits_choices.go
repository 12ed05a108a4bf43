package derivation

import (
	"fmt"
	"slices"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// menu is a choice with the words it can take.
type menu struct {
	pointer string
	now     string
	words   []string
}

// words lists the choices that apply: those of the table with their words, or what
// is stocked, then listed plies and fittings. Pattern and shape are left out, for
// other figures come with them; a date is no choice.
func (e *Engine) words(c *part.Configuration) []menu {
	m := e.docs.Materials
	var out []menu
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if p.IsNumber() || !p.Used(c) || p.Pointer == "/pattern" || p.Pointer == "/outline/shape" || p.Pointer == "/needed_by" {
			continue
		}
		words := p.Words
		switch p.Pointer {
		case "/laminate/resin":
			words = names(m.Resins, func(r shop.Resin) string { return r.Key })
		case "/gelcoat/color":
			words = names(m.Gelcoats, func(g shop.Gelcoat) string { return g.Color })
		case "/lid/core":
			words = e.coreWords(c.Laminate.Schedule == part.ScheduleAuto)
		}
		out = append(out, menu{p.Pointer, *p.Word(c), words})
	}
	plies := names(m.Reinforcements, func(r shop.Reinforcement) string { return r.Key })
	if c.Laminate.Schedule == part.ScheduleListed {
		cores := names(m.Cores, func(k shop.Core) string { return k.Key })
		for i, key := range c.Laminate.Lid {
			out = append(out, menu{fmt.Sprintf("/laminate/lid/%d", i), key, append(slices.Clone(plies), cores...)})
		}
		for i, key := range c.Laminate.Receiver {
			out = append(out, menu{fmt.Sprintf("/laminate/receiver/%d", i), key, plies})
		}
	}
	fittings := names(m.Hardware, func(f shop.Fitting) string { return f.Key })
	for i, h := range c.Hardware {
		out = append(out, menu{fmt.Sprintf("/hardware/%d/item", i), h.Item, fittings})
	}
	return out
}

// choice rules on every word of one choice. Where the core was left open it follows
// the schedule, as it does when a request is completed.
func (s *survey) choice(r part.Request, m menu) Choice {
	out := Choice{Pointer: m.pointer, Value: m.now}
	for _, word := range m.words {
		errors := s.errors
		if word != m.now {
			c := s.base.config.Clone()
			// The pointer is of the table or of a row that is there.
			_ = c.SetWord(m.pointer, word)
			if m.pointer == "/laminate/schedule" && !r.Has("/lid/core") {
				again := r.With(m.pointer)
				again.Laminate.Schedule = word
				c.Lid.Core = s.e.Complete(again).Lid.Core
			}
			if s.fixed && c.Laminated(&s.base.config) {
				errors = faults(s.e.whole(&c, s.base).findings)
			} else {
				errors = faults(s.e.ruleWith(&c, s.base.memo).findings)
			}
		}
		if len(errors) == 0 {
			out.Allowed = append(out.Allowed, word)
			continue
		}
		out.Refused = append(out.Refused, Refusal{Word: word, Code: errors[0].Code, Finding: boundBy(errors).Finding})
	}
	return out
}
