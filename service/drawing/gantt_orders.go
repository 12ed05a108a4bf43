package drawing

import (
	"fmt"
	"math"
	"time"

	"hatchwright/service/civil"
)

// OrderBar is an order on a Gantt chart: from its first work to its planned end, and
// when it is likely to end.
type OrderBar struct {
	Mark          string // what its operations are marked with
	Name          string
	Start, End    time.Time
	P50, P80, P95 time.Time     // zero: not known
	Promise       civil.Date    // zero: none; good through that day
	Late          time.Duration // of the planned end past the promise
}

// Measures of the sheets of orders, mm.
const (
	orderLeft  = 58.0
	orderRight = 32.0 // for the end and the promise
	orderRow   = 9.0  // a row is no higher
)

// orders draws a row for each order over all the days.
func (g Gantt) orders(s *Sheet, orders []OrderBar, number string) {
	r := chartFrame(s, g.Title, "orders, "+dates(g.From, g.Days), g.Note, number)
	x1 := r.x1 - orderRight
	a := span{from: g.From, days: g.Days, loc: g.Calendar.Location(), x0: r.x0 + orderLeft, width: (x1 - r.x0 - orderLeft) / float64(g.Days)}
	top := r.y0 + ganttHead
	high := min(orderRow, (r.y1-ganttKey-foot(g.Foot)-top)/float64(len(orders)))
	bottom := top + high*float64(len(orders))
	columns(s, a, g.Calendar, r.y0, top, bottom, false)
	g.now(s, a, top, bottom)
	s.Text(r.x0+1, r.y0+8, "order", Fine, Bold)
	edge := a.end()
	for i, o := range orders {
		y := top + float64(i)*high
		s.Ink(Polyline(Point{r.x0, y}, Point{r.x1, y}), Hair, Solid)
		s.Put(Label{At: Point{r.x0 + 7, y + high/2 + Fine*0.36}, Text: o.Mark, Size: Fine, Face: Bold, Anchor: Right})
		s.Text(r.x0+9, y+high/2+Fine*0.36, shorten(o.Name, Regular, Fine, orderLeft-11), Fine, Regular)

		barTop, h := y+high*0.2, high*0.38
		from, to := a.at(o.Start), a.at(o.End)
		if a.shows(o.Start, o.End) {
			s.Fill(Rect(from, barTop, max(leastBar, to-from), h), plannedTone, Thin)
			if due := o.Promise.AddDays(1).At(0, a.loc); !o.Promise.IsZero() && o.End.After(due) {
				if x := max(from, a.at(due)); x < to {
					s.Fill(Rect(x, barTop, to-x, h), lateTone, Thin)
				}
			}
			// What begins before or goes on after the chart.
			if o.Start.Before(a.from.At(0, a.loc)) {
				s.arrow(Point{a.x0 - 0.2, barTop + h/2}, Point{-1, 0})
			}
			if o.End.After(a.from.AddDays(a.days).At(0, a.loc)) {
				s.arrow(Point{edge + 0.2, barTop + h/2}, Point{1, 0})
			}
		}
		if !o.P50.IsZero() && a.shows(o.P50, o.P95.Add(time.Second)) {
			low := y + high*0.78
			s.Ink(Polyline(Point{a.at(o.P50), low}, Point{a.at(o.P95), low}), Thin, Solid)
			for _, k := range []struct {
				at   time.Time
				half float64
			}{{o.P50, 0.6}, {o.P80, 1.1}, {o.P95, 0.6}} {
				if x := a.at(k.at); x < edge {
					s.Ink(Polyline(Point{x, low - k.half}, Point{x, low + k.half}), Medium, Solid)
				}
			}
		}
		if !o.Promise.IsZero() {
			if n := daysBetween(a.from, o.Promise); n >= 0 && n < a.days {
				promised(s, Point{a.edge(n + 1), barTop})
			}
		}
		ends, face := "ends "+dayMonth(civil.DateOf(o.End, a.loc)), Regular
		if o.Late > 0 {
			ends, face = ends+", "+lateness(o.Late), Bold
		}
		s.Text(x1+1.5, y+high/2-0.5, shorten(ends, face, Fine, orderRight-2), Fine, face)
		if !o.Promise.IsZero() {
			s.Text(x1+1.5, y+high/2+Fine*capHeight+0.7, "promised "+dayMonth(o.Promise), Fine, Regular)
		}
	}
	s.Ink(Polyline(Point{r.x0, bottom}, Point{r.x1, bottom}), Thin, Solid)
	putFoot(s, r.x0+1, bottom+1, r.x1-r.x0-2, g.Foot)
	legend(s, r.x0+1, r.y1-1.5, []sign{
		{"first work to planned end", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, plannedTone, Thin) }},
		{"past the promise", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, lateTone, Thin) }},
		{"end of the promised day", func(s *Sheet, _ Path, a, b Point) { promised(s, Point{(a.X + b.X) / 2, a.Y + 0.8}) }},
		{"ends by then: 50, 80 and 95 times of 100", func(s *Sheet, _ Path, a, b Point) {
			s.Ink(Polyline(a, b), Thin, Solid)
			for _, k := range []struct{ x, half float64 }{{a.X, 0.6}, {a.X + (b.X-a.X)*0.4, 1.1}, {b.X, 0.6}} {
				s.Ink(Polyline(Point{k.x, a.Y - k.half}, Point{k.x, a.Y + k.half}), Medium, Solid)
			}
		}},
		signNow, signOff,
	})
}

// promised marks the end of a promised day: a wedge that points at it from above.
func promised(s *Sheet, at Point) {
	s.Fill(Polygon(at, Point{at.X - 0.9, at.Y - 1.5}, Point{at.X + 0.9, at.Y - 1.5}), Black, 0)
}

// lateness writes how late something is, in hours below a day.
func lateness(d time.Duration) string {
	if d < 24*time.Hour {
		return fmt.Sprintf("%.0f h late", math.Max(1, math.Ceil(d.Hours())))
	}
	return fmt.Sprintf("%.0f d late", math.Ceil(d.Hours()/24))
}
