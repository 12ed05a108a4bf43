package derivation

import (
	"fmt"
	"math"

	"hatchwright/service/laminate"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/shop"
)

// Masses is what a finished part weighs, kg, and where it balances: x along the
// boat, y athwartships, z down from the deck, mm. Flat parts are taken at the
// middle of each layer, walls at their molded face.
type Masses struct {
	Laminate float64 // glass and resin
	Core     float64 // with its bedding
	Gelcoat  float64
	Pads     float64 // solid pads under hardware
	Hardware float64
	Total    float64
	X, Y, Z  float64
}

// balance sums masses and their moments.
type balance struct{ m, x, y, z float64 }

func (b *balance) add(m, x, y, z float64) {
	b.m += m
	b.x += m * x
	b.y += m * y
	b.z += m * z
}

// weigh works out both parts' masses once the surfaces are known.
func (e *Engine) weigh(r *Result) error {
	if err := e.weighReceiver(r); err != nil {
		return fmt.Errorf("receiver's mass: %w", err)
	}
	if err := e.weighLid(r); err != nil {
		return fmt.Errorf("lid's mass: %w", err)
	}
	return nil
}

// perArea are the plies' and the gelcoat's masses, kg/m2.
func (l *Laminate) perArea() (plies, gelcoat float64) {
	m := l.Stack.Mass()
	return m.Glass + m.Resin, m.Gelcoat
}

func (e *Engine) weighReceiver(r *Result) error {
	l := &r.Receiver
	plies, gelcoat := l.perArea()
	m := &l.Masses
	m.Laminate, m.Gelcoat = plies*l.Area*squareMeter, gelcoat*l.Area*squareMeter
	m.Total = m.Laminate + m.Gelcoat
	l.Mass = m.Total
	var b balance
	var flats []flat
	bands := r.Geometry.Receiver.Bands
	if len(bands) > 1 {
		outer, inner := bands[0], bands[1]
		a, err := outer.Round.Offset(last(outer.Profile).N)
		if err != nil {
			return err
		}
		i, err := inner.Round.Offset(first(inner.Profile).N)
		if err != nil {
			return err
		}
		flats = append(flats, flat{a, 1, last(outer.Profile).Z}, flat{i, -1, last(outer.Profile).Z})
	}
	if err := b.surface(bands, flats, r.Configuration.Outline.Even()); err != nil {
		return err
	}
	m.X, m.Y, m.Z = b.x/b.m, b.y/b.m, b.z/b.m
	return nil
}

func (e *Engine) weighLid(r *Result) error {
	l := &r.Lid
	cut, core := 0.0, l.CoreArea
	coreEdge, coreN, cored := r.Geometry.CoreEdge(&r.Configuration)
	setback := r.Geometry.Corner(part.LidEdge).N - coreN // of the core inside the lid's outline
	pad := e.pad(l.Resin)
	padded := 0.0 // area times plies
	for _, p := range r.Hardware {
		hole := p.Length * p.Width
		cut += hole
		padded += padArea(p.fitting)
		length, width, n := p.Pad()
		if n == 0 {
			length, width = p.Length, p.Width
		}
		if l.Core != nil {
			// As far as it lies inside the core's edge.
			middle := p.Distance + p.Width/2
			core -= length * math.Max(0, middle+width/2-math.Max(setback, middle-width/2))
		}
	}
	core = math.Max(core, 0)
	net := math.Max(l.Area-cut, 0)
	plies, gelcoat := l.perArea()
	m := &l.Masses
	m.Laminate, m.Gelcoat = plies*net*squareMeter, gelcoat*net*squareMeter
	if l.Core != nil {
		m.Core = l.Stack.Core.MassPerArea() * core * squareMeter
	}
	m.Pads = (pad.GlassMass() + pad.ResinMass()) * padded * squareMeter
	l.PadPlyArea = padded
	for _, p := range r.Hardware {
		m.Hardware += p.fitting.Mass
	}
	l.Mass = m.Laminate + m.Core + m.Gelcoat + m.Pads
	m.Total = l.Mass + m.Hardware

	// Where it balances: the surface at its plies' depth, core, pads and hardware.
	var b, faces balance
	bands := r.Geometry.Lid.Bands
	top := bands[0]
	cap0, err := top.Round.Offset(first(top.Profile).N)
	if err != nil {
		return err
	}
	z0 := first(top.Profile).Z
	if err := faces.surface(bands, []flat{{cap0, 1, z0 + l.pliesDepth()}}, r.Configuration.Outline.Even()); err != nil {
		return err
	}
	skin := (plies + gelcoat) * squareMeter
	b.add(skin*faces.m, faces.x/faces.m, faces.y/faces.m, faces.z/faces.m)
	behind := z0 + l.Thickness
	if l.Core != nil && cored && l.CoreArea > 0 {
		at := areaCenter(coreEdge)
		b.add(m.Core, at.X, at.Y, z0+l.Stack.OuterThickness()+l.Stack.Core.Thickness/2)
	}
	for _, p := range r.Hardware {
		b.add(-skin*p.Length*p.Width, p.At.X, p.At.Y, z0+l.pliesDepth())
		b.add((pad.GlassMass()+pad.ResinMass())*padArea(p.fitting)*squareMeter, p.At.X, p.At.Y, behind)
		b.add(p.fitting.Mass, p.At.X, p.At.Y, z0+l.Thickness/2)
	}
	m.X, m.Y, m.Z = b.x/b.m, b.y/b.m, b.z/b.m
	return nil
}

// pad is one ply of the solid pads under hardware.
func (e *Engine) pad(resin shop.Resin) laminate.Ply {
	row, _ := e.docs.Materials.Ply(e.docs.Profile.Standard.PadPly)
	return laminate.Ply{Reinforcement: row.Material(), Resin: resin.Material(e.docs.Materials.Catalyst)}
}

// padArea is the area of a fitting's pad round its cut-out times its plies, mm2.
func padArea(f shop.Fitting) float64 {
	return math.Max(0, f.PadLength*f.PadWidth-f.CutOutLength*f.CutOutWidth) * float64(f.PadPlies)
}

// pliesDepth is how far behind the molded face a flat's plies balance, mm.
func (l *Laminate) pliesDepth() float64 {
	z, mass, moment := 0.0, 0.0, 0.0
	for i, p := range l.Stack.Plies() {
		if l.Stack.Core != nil && i == len(l.Stack.Outer) {
			z += l.Stack.Core.Thickness
		}
		w := p.GlassMass() + p.ResinMass()
		mass += w
		moment += w * (z + p.Thickness()/2)
		z += p.Thickness()
	}
	return moment / mass
}

// flat is a level piece of a surface: what lies within an outline, taken away where
// sign is -1.
type flat struct {
	o    outline.Outline
	sign float64
	z    float64
}

// surface adds a surface of bands and flats, with 1 kg to the mm2. On a profile
//
//	m = integral of L(n) ds,  m x = integral of (integral of x along the curve) ds
//
// L and the curve's moments are polynomials of degree 1 and 2 in n while no corner
// of the curve goes sharp: two points of Gauss on a line are exact there, four on
// an arc are to 1e-6.
func (b *balance) surface(bands []part.Band, flats []flat, even bool) error {
	for _, band := range bands {
		var law outline.Law
		var middle outline.Point
		if even {
			law, middle = band.Round.Law(), areaCenter(band.Round)
		}
		for _, s := range band.Profile.Segments() {
			nodes := gauss2[:]
			if s.Kind == profile.Arc {
				nodes = gauss4[:]
			}
			length := s.Length()
			for _, k := range nodes {
				at := s.At(k.t)
				w := k.w * length
				if even {
					l, err := law.PerimeterAt(at.N)
					if err != nil {
						return err
					}
					b.add(w*l, middle.X, middle.Y, at.Z)
					continue
				}
				o, err := band.Round.Offset(at.N)
				if err != nil {
					return err
				}
				l, x, y := curveMoments(o)
				b.add(w*l, x/l, y/l, at.Z)
			}
		}
	}
	for _, f := range flats {
		c := areaCenter(f.o)
		b.add(f.sign*f.o.Area(), c.X, c.Y, f.z)
	}
	return nil
}

type node struct{ t, w float64 }

// Gauss-Legendre nodes and weights on 0 to 1 (any handbook).
var (
	gauss2 = [2]node{{0.5 - 0.5/math.Sqrt(3), 0.5}, {0.5 + 0.5/math.Sqrt(3), 0.5}}
	gauss4 = [4]node{
		{0.5 - 0.5*0.8611363115940526, 0.5 * 0.3478548451374538}, {0.5 - 0.5*0.3399810435848563, 0.5 * 0.6521451548625461},
		{0.5 + 0.5*0.3399810435848563, 0.5 * 0.6521451548625461}, {0.5 + 0.5*0.8611363115940526, 0.5 * 0.3478548451374538},
	}
)

// curveMoments returns the length of the curve and the integrals of x and y along
// it.
//
//	line  L (from + to)/2
//	arc   r (cx a + r (sin a1 - sin a0)),  r (cy a - r (cos a1 - cos a0))
func curveMoments(o outline.Outline) (length, x, y float64) {
	for _, s := range o.Segments() {
		l := s.Length()
		length += l
		if s.Kind == outline.Line {
			x += l * (s.From.X + s.To.X) / 2
			y += l * (s.From.Y + s.To.Y) / 2
			continue
		}
		a0, a1 := angles(s)
		x += s.Center.X*l + s.Radius*s.Radius*(math.Sin(a1)-math.Sin(a0))
		y += s.Center.Y*l - s.Radius*s.Radius*(math.Cos(a1)-math.Cos(a0))
	}
	return length, x, y
}

func angles(s outline.Segment) (a0, a1 float64) {
	a0 = math.Atan2(s.From.Y-s.Center.Y, s.From.X-s.Center.X)
	return a0, a0 + s.Sweep
}

// areaCenter returns where the area within o balances, by Green's theorem:
//
//	A x = 1/2 ∮ x² dy,  A y = -1/2 ∮ y² dx
//
// exactly on lines and arcs.
func areaCenter(o outline.Outline) outline.Point {
	var x, y float64
	for _, s := range o.Segments() {
		p, q := s.From, s.To
		if s.Kind == outline.Line {
			x += (q.Y - p.Y) * (p.X*p.X + p.X*q.X + q.X*q.X) / 6
			y -= (q.X - p.X) * (p.Y*p.Y + p.Y*q.Y + q.Y*q.Y) / 6
			continue
		}
		a0, a1 := angles(s)
		r, cx, cy := s.Radius, s.Center.X, s.Center.Y
		fx := func(a float64) float64 {
			sin := math.Sin(a)
			return cx*cx*sin + 2*cx*r*(a/2+math.Sin(2*a)/4) + r*r*(sin-sin*sin*sin/3)
		}
		fy := func(a float64) float64 {
			cos := math.Cos(a)
			return -cy*cy*cos + 2*cy*r*(a/2-math.Sin(2*a)/4) + r*r*(-cos+cos*cos*cos/3)
		}
		x += r * (fx(a1) - fx(a0)) / 2
		y += r * (fy(a1) - fy(a0)) / 2
	}
	a := o.Area()
	return outline.Point{X: x / a, Y: y / a}
}

func first(p profile.Profile) profile.Point {
	v, _ := p.Ends()
	return v.At
}

func last(p profile.Profile) profile.Point {
	_, v := p.Ends()
	return v.At
}
