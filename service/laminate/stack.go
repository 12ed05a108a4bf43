package laminate

import (
	"errors"
	"fmt"
)

// ErrStack marks a stack that is not a laminate; the message names what is wrong.
var ErrStack = errors.New("laminate: stack refused")

// Stack is a laminate, listed from the mold face outward: the gelcoat, the outer plies, a core or none, the
// inner plies. A solid laminate has all its plies in Outer.
type Stack struct {
	Gelcoat *Gelcoat // nil: none
	Outer   []Ply
	Core    *Core // nil: solid
	Inner   []Ply
}

// Solid is a stack without a core.
func Solid(gelcoat *Gelcoat, plies ...Ply) Stack { return Stack{Gelcoat: gelcoat, Outer: plies} }

// Validate reports the first thing that keeps s from being a laminate: no ply, a core with a bare face, inner
// plies without a core, or a material row that is refused.
func (s Stack) Validate() error {
	if len(s.Outer) == 0 {
		return fmt.Errorf("%w: no ply on the mold face: add at least one", ErrStack)
	}
	if s.Core == nil && len(s.Inner) > 0 {
		return fmt.Errorf("%w: inner plies without a core: list a solid laminate's plies as outer plies", ErrStack)
	}
	if s.Core != nil && len(s.Inner) == 0 {
		return fmt.Errorf("%w: the core has no inner skin: add at least one inner ply", ErrStack)
	}
	for i, p := range s.Outer {
		if err := p.Validate(); err != nil {
			return fmt.Errorf("outer ply %d: %w", i, err)
		}
	}
	for i, p := range s.Inner {
		if err := p.Validate(); err != nil {
			return fmt.Errorf("inner ply %d: %w", i, err)
		}
	}
	if s.Core != nil {
		return s.Core.Validate()
	}
	return nil
}

// Plies lists all plies from the mold face.
func (s Stack) Plies() []Ply {
	return append(append(make([]Ply, 0, len(s.Outer)+len(s.Inner)), s.Outer...), s.Inner...)
}

// Thickness of plies and core, mm; the gelcoat film is not counted.
func (s Stack) Thickness() float64 {
	t := s.OuterThickness() + s.InnerThickness()
	if s.Core != nil {
		t += s.Core.Thickness
	}
	return t
}

// OuterThickness of the plies on the mold face, mm.
func (s Stack) OuterThickness() float64 { return plySum(s.Outer, Ply.Thickness) }

// InnerThickness of the plies behind the core, mm.
func (s Stack) InnerThickness() float64 { return plySum(s.Inner, Ply.Thickness) }

// Film is the gelcoat film, mm; 0 without gelcoat.
func (s Stack) Film() float64 {
	if s.Gelcoat == nil {
		return 0
	}
	return s.Gelcoat.film()
}

// Mass is what a laminate is made of, kg/m², without waste.
type Mass struct {
	Glass   float64
	Resin   float64 // of the plies
	Core    float64 // with its bedding
	Gelcoat float64 // the film itself, what stays on the mold
}

// Total of the parts, kg/m².
func (m Mass) Total() float64 { return m.Glass + m.Resin + m.Core + m.Gelcoat }

// Mass of one square meter of the stack.
func (s Stack) Mass() Mass {
	m := Mass{
		Glass: plySum(s.Outer, Ply.GlassMass) + plySum(s.Inner, Ply.GlassMass),
		Resin: plySum(s.Outer, Ply.ResinMass) + plySum(s.Inner, Ply.ResinMass),
	}
	if s.Core != nil {
		m.Core = s.Core.MassPerArea()
	}
	if s.Gelcoat != nil {
		m.Gelcoat = s.Gelcoat.film() / 1000 * s.Gelcoat.density()
	}
	return m
}

// MassPerArea is the whole mass, kg/m².
func (s Stack) MassPerArea() float64 { return s.Mass().Total() }

// GlassFraction of the plies together; 0 when there is no ply.
//
//	psi = sum w_i / sum (w_i/psi_i)
//
// Source: ISO 12215-5:2008 annex C.
func (s Stack) GlassFraction() float64 {
	m := s.Mass()
	if m.Glass == 0 {
		return 0
	}
	return m.Glass / (m.Glass + m.Resin)
}

func plySum(plies []Ply, f func(Ply) float64) float64 {
	total := 0.0
	for _, p := range plies {
		total += f(p)
	}
	return total
}
