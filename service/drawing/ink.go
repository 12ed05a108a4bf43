package drawing

import "math"

// Point is a place on a sheet, mm.
type Point struct{ X, Y float64 }

func (p Point) add(q Point) Point               { return Point{p.X + q.X, p.Y + q.Y} }
func (p Point) sub(q Point) Point               { return Point{p.X - q.X, p.Y - q.Y} }
func (p Point) times(k float64) Point           { return Point{p.X * k, p.Y * k} }
func (p Point) norm() float64                   { return math.Hypot(p.X, p.Y) }
func (p Point) toward(u Point, s float64) Point { return Point{p.X + u.X*s, p.Y + u.Y*s} }

// LineType is the pattern of a line, the carrier of its meaning.
type LineType uint8

// The line types.
const (
	Solid   LineType = iota // visible edges
	Dashed                  // hidden edges
	Chain                   // centre lines
	Phantom                 // adjacent parts
	Dotted                  // reference curves
)

// pattern returns dash and gap lengths on paper, mm.
func (l LineType) pattern() []float64 {
	switch l {
	case Dashed:
		return []float64{3, 1.3}
	case Chain:
		return []float64{8, 1.2, 0.8, 1.2}
	case Phantom:
		return []float64{6, 1, 0.8, 1, 0.8, 1}
	case Dotted:
		return []float64{0.5, 1.1}
	default: // Solid
		return nil
	}
}

// Widths of lines, mm, of the ISO 128 series.
const (
	Hair   = 0.13
	Thin   = 0.18
	Medium = 0.35
	Thick  = 0.5
	Heavy  = 0.7
)

// Stroke is how a path is inked. Width 0 leaves it without.
type Stroke struct {
	Width float64
	Type  LineType
}

// Gray is a tone of a fill: 0 black to 255 white; NoFill leaves it open.
type Gray int16

// Tones.
const (
	NoFill Gray = -1
	Black  Gray = 0
	White  Gray = 255
)

type verb uint8

const (
	moveTo verb = iota
	lineTo
	arcTo
	closePath
)

// step is one move of a path. An arc runs from the point before it over the
// angles start to start+sweep, radians, from +x towards +y: clockwise on paper.
type step struct {
	verb         verb
	to           Point
	center       Point
	radius       float64
	start, sweep float64
}

// Path is a run of lines and arcs on a sheet.
type Path struct{ steps []step }

// Move begins a new run at p.
func (p *Path) Move(at Point) { p.steps = append(p.steps, step{verb: moveTo, to: at}) }

// Line goes straight on to p.
func (p *Path) Line(to Point) { p.steps = append(p.steps, step{verb: lineTo, to: to}) }

// Arc goes on round center to the point to.
func (p *Path) Arc(center Point, radius, start, sweep float64, to Point) {
	p.steps = append(p.steps, step{arcTo, to, center, radius, start, sweep})
}

// Close goes straight back to where the run began.
func (p *Path) Close() { p.steps = append(p.steps, step{verb: closePath}) }

// Polyline is an open path through the points.
func Polyline(points ...Point) Path {
	var p Path
	for i, q := range points {
		if i == 0 {
			p.Move(q)
		} else {
			p.Line(q)
		}
	}
	return p
}

// Polygon is a closed path through the points.
func Polygon(points ...Point) Path {
	p := Polyline(points...)
	p.Close()
	return p
}

// Rect is a rectangle from its upper left corner.
func Rect(x, y, w, h float64) Path {
	return Polygon(Point{x, y}, Point{x + w, y}, Point{x + w, y + h}, Point{x, y + h})
}

// Circle is a full circle.
func Circle(center Point, radius float64) Path {
	var p Path
	p.Move(Point{center.X + radius, center.Y})
	p.Arc(center, radius, 0, math.Pi, Point{center.X - radius, center.Y})
	p.Arc(center, radius, math.Pi, math.Pi, Point{center.X + radius, center.Y})
	p.Close()
	return p
}

// runs flattens the path: each run's points, and whether it is closed. No chord
// is further than chord mm from its arc.
func (p Path) runs(chord float64) (runs [][]Point, closed []bool) {
	var now []Point
	end := func(shut bool) {
		if len(now) > 1 {
			runs, closed = append(runs, now), append(closed, shut)
		}
		now = nil
	}
	for _, s := range p.steps {
		switch s.verb {
		case moveTo:
			end(false)
			now = append(now, s.to)
		case lineTo:
			now = append(now, s.to)
		case arcTo:
			for k, n := 1, arcSteps(s.radius, s.sweep, chord); k < n; k++ {
				sin, cos := math.Sincos(s.start + s.sweep*float64(k)/float64(n))
				now = append(now, Point{s.center.X + s.radius*cos, s.center.Y + s.radius*sin})
			}
			now = append(now, s.to)
		case closePath:
			end(true)
		}
	}
	end(false)
	return runs, closed
}

// arcSteps is the least number of chords within the error; 1 - cos(a/2) = e/r.
func arcSteps(radius, sweep, chord float64) int {
	if !(radius > chord) {
		return max(1, int(math.Ceil(math.Abs(sweep)/(math.Pi/4))))
	}
	return max(1, int(math.Ceil(math.Abs(sweep)/(2*math.Acos(1-chord/radius)))))
}

// flat is how far a chord may lie from its arc when a path is flattened, mm of
// paper: a tenth of a pixel at 250 dpi.
const flat = 0.01
