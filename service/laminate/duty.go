package laminate

import (
	"errors"
	"fmt"
	"math"
)

// Duty is what may happen on a lid.
type Duty string

// Duties.
const (
	NoStep      Duty = "no_step"
	Step        Duty = "step"
	WorkingDeck Duty = "working_deck"
	Custom      Duty = "custom"
)

// Loads of the duties.
const (
	// HandForce and HandRadius are a hand or a knee on a lid that nobody stands on. Shop rule, no source.
	HandForce  = 250.0
	HandRadius = 50.0
	// PersonForce is a person of 100 kg, PersonRadius a pair of feet. Common practice, no source.
	PersonForce  = 981.0
	PersonRadius = 75.0
	// StepForce is twice the person: OSHA 29 CFR 1926.502(i)(2) asks twice the weight on the cover of a hole. A
	// number for boats was not found.
	StepForce = 2 * PersonForce
	// DeflectionShare of the short span is allowed under a person. Common practice, no source.
	DeflectionShare = 1.0 / 100
)

// ErrDuty marks a duty that cannot be turned into cases; the message names what is missing.
var ErrDuty = errors.New("laminate: duty refused")

// Demand is a duty with what it needs to know.
type Demand struct {
	Duty Duty
	// Deck is needed for WorkingDeck.
	Deck *Deck
	// Pressure, Force, Radius and Limit are for Custom: kPa, N, mm, and the share of the short span that may be
	// deflected (0: no limit).
	Pressure, Force, Radius, Limit float64
}

// Case is one load on a panel.
type Case struct {
	Name string
	// Pressure is uniform, MPa; 0 when the case is a force.
	Pressure float64
	// Force is spread over a disc of Radius (N, mm) that may stand anywhere; 0 when the case is a pressure.
	Force, Radius float64
	// Strength tells whether stresses and core shear are held to their allowables.
	Strength bool
	// Limit is the deflection allowed as a share of the short span; 0: reported only.
	Limit float64
	// Source of the load.
	Source string
}

// hand is the least load that every lid is held to, whatever is asked for: a custom
// duty may not go below it.
var hand = Case{Name: "hand", Force: HandForce, Radius: HandRadius, Strength: true, Source: "shop rule, no source"}

// coversHand reports whether a force, N, on a disc of the given radius, mm, asks at
// least as much of a plate as a hand does. With no less force and no less pressure
// under it, it holds the hand's load within it, or concentrates it more.
func coversHand(force, radius float64) bool {
	return force >= HandForce && force*HandRadius*HandRadius >= HandForce*radius*radius
}

// Cases lists the cases of a demand on a panel, in a fixed order. Errors: ErrDuty, ErrDeck, and those of
// Panel.Validate.
func Cases(d Demand, p Panel) ([]Case, error) {
	if err := p.Validate(); err != nil {
		return nil, fmt.Errorf("cases of %s: %w", d.Duty, err)
	}
	step := []Case{
		{Name: "step strength", Force: StepForce, Radius: PersonRadius, Strength: true, Source: "twice a person of 100 kg, OSHA 29 CFR 1926.502(i)(2)"},
		{Name: "step stiffness", Force: PersonForce, Radius: PersonRadius, Limit: DeflectionShare, Source: "a person of 100 kg; short span/100 is common practice, no source"},
	}
	switch d.Duty {
	case NoStep:
		return []Case{hand}, nil
	case Step:
		return step, nil
	case WorkingDeck:
		if d.Deck == nil {
			return nil, fmt.Errorf("%w: working_deck needs the craft: waterline, displacement, kind and design category", ErrDuty)
		}
		r, err := d.Deck.Pressure(p.Long(), p.Short())
		if err != nil {
			return nil, fmt.Errorf("deck pressure: %w", err)
		}
		return append(step, Case{Name: "deck pressure", Pressure: r.Pressure / 1000, Strength: true, Limit: DeflectionShare, Source: Basis + " clause 8"}), nil
	case Custom:
		for _, g := range []struct {
			name  string
			value float64
		}{{"pressure", d.Pressure}, {"force", d.Force}, {"radius", d.Radius}, {"limit", d.Limit}} {
			if !(g.value >= 0) || math.IsInf(g.value, 0) {
				return nil, fmt.Errorf("%w: custom %s %g must be 0 or more", ErrDuty, g.name, g.value)
			}
		}
		var out []Case
		if d.Pressure > 0 {
			out = append(out, Case{Name: "custom pressure", Pressure: d.Pressure / 1000, Strength: true, Limit: d.Limit, Source: "caller"})
		}
		if d.Force > 0 {
			if d.Radius == 0 {
				return nil, fmt.Errorf("%w: custom force %g N needs the radius of its disc", ErrDuty, d.Force)
			}
			out = append(out, Case{Name: "custom force", Force: d.Force, Radius: d.Radius, Strength: true, Limit: d.Limit, Source: "caller"})
		}
		if len(out) == 0 {
			return nil, fmt.Errorf("%w: custom needs a pressure or a force above 0", ErrDuty)
		}
		if !coversHand(d.Force, d.Radius) {
			out = append(out, hand)
		}
		return out, nil
	}
	return nil, fmt.Errorf("%w: %q: give no_step, step, working_deck or custom", ErrDuty, string(d.Duty))
}
