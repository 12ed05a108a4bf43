package laminate

// Ply is one piece of reinforcement wetted out with a resin.
type Ply struct {
	Reinforcement Reinforcement
	Resin         Resin
}

// Component is one layer of a ply: the fabric, or the mat stitched to it. The mat lies toward the mold.
type Component struct {
	Kind         Kind
	GlassMass    float64 // kg/m²
	Fraction     float64 // psi
	resinDensity float64
}

// PlyThickness is the thickness of a layer, mm, from its dry glass w (kg/m²), glass mass fraction psi and the
// density of its cured resin (kg/m³).
//
//	t = w/rho_g + w (1 - psi)/(psi rho_r)
//
// With rho_g 2560 and rho_r 1200 this is (w/3.072)(2.56/psi - 1.36), ISO 12215-5:2008 equation C.1.
// Valid for 0 < psi < 1.
func PlyThickness(w, psi, resinDensity float64) float64 {
	const mmPerM = 1000
	return mmPerM * (w/GlassDensity + w*(1-psi)/(psi*resinDensity))
}

// ResinFor is the resin of a layer, kg/m².
//
//	m = w (1 - psi)/psi
func ResinFor(w, psi float64) float64 { return w * (1 - psi) / psi }

// Components lists the layers of p from the mold side: one, or the mat and then the fabric.
func (p Ply) Components() []Component { return p.components(nil) }

func (p Ply) components(dst []Component) []Component {
	r := p.Reinforcement
	if r.MatMass > 0 {
		dst = append(dst, Component{Kind: Mat, GlassMass: r.MatMass, Fraction: r.matFraction(), resinDensity: p.Resin.density()})
	}
	return append(dst, Component{Kind: r.Kind, GlassMass: r.ArealMass, Fraction: r.GlassFraction, resinDensity: p.Resin.density()})
}

// Thickness of the component, mm.
func (c Component) Thickness() float64 { return PlyThickness(c.GlassMass, c.Fraction, c.resinDensity) }

// ResinMass of the component, kg/m².
func (c Component) ResinMass() float64 { return ResinFor(c.GlassMass, c.Fraction) }

// Strength of the component before UntestedFactor.
func (c Component) Strength() Strength { return Annex(c.Kind, c.Fraction) }

// Thickness of the ply, mm.
func (p Ply) Thickness() float64 { return p.sum(Component.Thickness) }

// GlassMass of the ply, kg/m².
func (p Ply) GlassMass() float64 { return p.Reinforcement.GlassMass() }

// ResinMass of the ply, kg/m².
func (p Ply) ResinMass() float64 { return p.sum(Component.ResinMass) }

func (p Ply) sum(f func(Component) float64) float64 {
	var buf [2]Component
	total := 0.0
	for _, c := range p.components(buf[:0]) {
		total += f(c)
	}
	return total
}

// Validate reports the first figure of the ply's materials that cannot be used.
func (p Ply) Validate() error {
	if err := p.Reinforcement.Validate(); err != nil {
		return err
	}
	return p.Resin.Validate()
}
