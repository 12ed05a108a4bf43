package laminate

import "math"

// Poisson is the ratio used for every laminate as a plate.
//
// Hand laid E-glass and polyester lie near 0.3 for mat and lower for 0/90 fabric; plate tables are printed for
// 0.3. From memory, no source.
const Poisson = 0.3

// Layer is one slice of a Section.
type Layer struct {
	// Ply is the index into Stack.Plies; -1 for the core.
	Ply int
	// Top and Bottom are the z of its faces, mm from the first ply's mold face; Top < Bottom.
	Top, Bottom float64
	// Modulus in plane, MPa; 0 for the core, whose share in bending is neglected as in ISO 12215-5:2008 D.2.2.
	Modulus float64
	// Tensile and Compressive are ultimate, MPa; 0 for the core.
	Tensile, Compressive float64
}

// Core tells whether the layer is the core.
func (l Layer) Core() bool { return l.Ply < 0 }

// Thickness of the layer, mm.
func (l Layer) Thickness() float64 { return l.Bottom - l.Top }

// Section is the stack per unit width, layer by layer.
type Section struct {
	Layers []Layer
	// Thickness of plies and core, mm.
	Thickness float64
	// NeutralAxis is the z of zero bending strain, mm.
	NeutralAxis float64
	// EA is the stiffness in tension, N/mm; EI that in bending, N·mm²/mm.
	EA, EI float64
	// CoreModulus is G of the core, MPa; 0 when solid.
	CoreModulus float64
	// CoreDesignShear is td of the core, MPa; 0 when solid.
	CoreDesignShear float64
	// CoreThickness, mm; 0 when solid.
	CoreThickness float64
	// CoreLever is ts, the distance between the middles of the two skins, mm; 0 when solid.
	CoreLever float64
	// OuterWrinkling and InnerWrinkling are the design stresses against wrinkling of either skin when it is
	// compressed, MPa; +Inf when solid.
	OuterWrinkling, InnerWrinkling float64
}

// Section computes the section with every ply property times factor (UntestedFactor, or 1 for a tested laminate).
//
//	z_n = sum E_i t_i z_i / sum E_i t_i
//	EA  = sum E_i t_i
//	EI  = sum E_i (t_i³/12 + t_i (z_i - z_n)²)
//
// Errors: those of Validate.
func (s Stack) Section(factor float64) (Section, error) {
	if err := s.Validate(); err != nil {
		return Section{}, err
	}
	var sec Section
	z := 0.0
	n := 0
	add := func(plies []Ply) {
		var buf [2]Component
		for _, p := range plies {
			for _, c := range p.components(buf[:0]) {
				st := c.Strength()
				t := c.Thickness()
				sec.Layers = append(sec.Layers, Layer{
					Ply: n, Top: z, Bottom: z + t,
					Modulus: factor * st.Modulus, Tensile: factor * st.Tensile, Compressive: factor * st.Compressive,
				})
				z += t
			}
			n++
		}
	}
	add(s.Outer)
	sec.OuterWrinkling, sec.InnerWrinkling = math.Inf(1), math.Inf(1)
	if s.Core != nil {
		p, err := s.Core.Properties()
		if err != nil {
			return Section{}, err
		}
		sec.OuterWrinkling = WrinklingStress(skinModulus(sec.Layers), p.Modulus, p.ShearModulus)
		core := len(sec.Layers)
		sec.Layers = append(sec.Layers, Layer{Ply: -1, Top: z, Bottom: z + s.Core.Thickness})
		to := z
		z += s.Core.Thickness
		top := z
		add(s.Inner)
		sec.CoreModulus, sec.CoreDesignShear, sec.CoreThickness = p.ShearModulus, p.DesignShear(), s.Core.Thickness
		sec.CoreLever = s.Core.Thickness + (to+z-top)/2
		sec.InnerWrinkling = WrinklingStress(skinModulus(sec.Layers[core+1:]), p.Modulus, p.ShearModulus)
	}
	sec.Thickness = z

	var ea, first float64
	for _, l := range sec.Layers {
		ea += l.Modulus * l.Thickness()
		first += l.Modulus * l.Thickness() * (l.Top + l.Bottom) / 2
	}
	sec.EA = ea
	sec.NeutralAxis = first / ea
	for _, l := range sec.Layers {
		t := l.Thickness()
		d := (l.Top+l.Bottom)/2 - sec.NeutralAxis
		sec.EI += l.Modulus * (t*t*t/12 + t*d*d)
	}
	return sec, nil
}

// skinModulus is the thickness-weighted modulus of the layers.
func skinModulus(layers []Layer) float64 {
	var et, t float64
	for _, l := range layers {
		et += l.Modulus * l.Thickness()
		t += l.Thickness()
	}
	return et / t
}

// WrinklingStress is the design stress against wrinkling of a compressed skin, MPa.
//
//	s = 0.3 (E Ec G)^(1/3)
//
// Source: ISO 12215-5:2008 10.5, equation 41. E of the skin, Ec and G of the core, MPa. It is a design stress:
// no further factor is applied.
func WrinklingStress(e, ec, g float64) float64 { return 0.3 * math.Cbrt(e*ec*g) }

// D is the stiffness of the section as a plate with Poisson's ratio nu, N·mm.
//
//	D = EI/(1 - nu²)
func (s Section) D(nu float64) float64 { return s.EI / (1 - nu*nu) }

// ShearStiffness of a sandwich, N/mm; +Inf when solid, where shear is neglected.
//
//	S = G ts²/tc
//
// Source: sandwich theory with thin skins (Allen; Zenkert), from memory.
func (s Section) ShearStiffness() float64 {
	if s.CoreThickness == 0 {
		return math.Inf(1)
	}
	return s.CoreModulus * s.CoreLever * s.CoreLever / s.CoreThickness
}

// LayerStress is the stress in a layer at its two faces, MPa, tension positive.
type LayerStress struct {
	Layer       int
	Top, Bottom float64
}

// Stresses gives the stress in every layer but the core under a moment m, N·mm/mm.
//
//	s(z) = m E_i (z - z_n)/EI
//
// In a plate this also holds for the stress along a direction whose moment is m, because D = EI/(1 - nu²) and
// the layers share one Poisson's ratio.
func (s Section) Stresses(m float64) []LayerStress {
	out := make([]LayerStress, 0, len(s.Layers))
	for i, l := range s.Layers {
		if l.Core() {
			continue
		}
		k := m * l.Modulus / s.EI
		out = append(out, LayerStress{i, k * (l.Top - s.NeutralAxis), k * (l.Bottom - s.NeutralAxis)})
	}
	return out
}

// CoreShear is the shear stress in the core under a shear force v, N/mm; 0 when solid.
//
//	tau = v/EI × sum over the outer skin of E_i t_i (z_n - z_i)
//
// For thin equal skins this is v/ts, the form of ISO 12215-5:2008 equation 43.
func (s Section) CoreShear(v float64) float64 {
	if s.CoreThickness == 0 {
		return 0
	}
	first := 0.0
	for _, l := range s.Layers {
		if l.Core() {
			break
		}
		first += l.Modulus * l.Thickness() * (s.NeutralAxis - (l.Top+l.Bottom)/2)
	}
	return v / s.EI * first
}

// Interfaces lists, for a drawing of the section, the z of every interface from 0 to Thickness.
func (s Section) Interfaces() []float64 {
	z := make([]float64, 0, len(s.Layers)+1)
	z = append(z, 0)
	for _, l := range s.Layers {
		z = append(z, l.Bottom)
	}
	return z
}
