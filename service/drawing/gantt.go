package drawing

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"hatchwright/service/schedule"
)

// Bar is an operation on a Gantt chart: labor from Start to LaborEnd, then waiting
// by the clock to End.
type Bar struct {
	Row                  string
	Start, LaborEnd, End time.Time
	Label                string
	Critical             bool // decides when its order ends
	Started              bool // is being worked on
}

// Gantt is a plan to draw: a row for each post of each work center, a column for
// each local date.
//
//	             Mon 1      Tue 2
//	booth 1   |[===]~~~~~|          |
//	booth 2   |    [====#|##]~~~    |     [=] labor   ~ waiting   # critical
type Gantt struct {
	Title    string
	Rows     []string // in order, from above
	Bars     []Bar
	From     schedule.Date // first day drawn
	Days     int           // 1 to MaxGanttDays
	Calendar *schedule.Calendar
	Now      time.Time // a line is drawn there; zero: none
	Paper    Paper     // zero: A4
}

// Bounds of what one chart holds, so that it can be read.
const (
	MaxGanttDays = 42
	ganttRows    = 24 // on a sheet; more go on the next
)

// ErrNoPlan tells of a chart without rows or days, or with more than it can hold.
var ErrNoPlan = errors.New("drawing: nothing to draw a plan of")

// gantt's measures on paper, mm.
const (
	ganttLeft = 38.0 // for the names of the rows
	ganttHead = 12.0 // for the dates
	ganttKey  = 8.0  // for what bars mean
	ganttRow  = 14.0 // a row is no higher
	leastBar  = 0.35 // a bar that would be thinner is this wide
	// Bars take the lower part of a row, labels that do not fit in them the upper.
	barFrom, barHigh = 0.4, 0.5
	leastLabel       = 1.7 // em; smaller ones are left out
)

// Draw makes the chart. Sheets hold ganttRows rows each. Error: ErrNoPlan.
func (g Gantt) Draw() (Drawing, error) {
	if len(g.Rows) == 0 || g.Days < 1 || g.Days > MaxGanttDays || g.Calendar == nil {
		return Drawing{}, fmt.Errorf("%w: %d rows, %d days of 1 to %d", ErrNoPlan, len(g.Rows), g.Days, MaxGanttDays)
	}
	if g.Paper.Width == 0 {
		g.Paper = A4
	}
	d := Drawing{Name: "gantt", Title: g.Title, what: g.Title, scale: "none"}
	for from := 0; from < len(g.Rows); from += ganttRows {
		rows := g.Rows[from:min(from+ganttRows, len(g.Rows))]
		s := Sheet{Paper: g.Paper}
		g.sheet(&s, rows, from/ganttRows+1, (len(g.Rows)+ganttRows-1)/ganttRows)
		d.Sheets = append(d.Sheets, s)
	}
	return d, nil
}

// span is the axis of time on a sheet: dates are columns of equal width, whatever
// hours a change of the clocks gives them.
type span struct {
	from  schedule.Date
	days  int
	loc   *time.Location
	x0    float64
	width float64 // of a day
}

// at is where an instant lies; ends are cut to the chart.
func (a span) at(t time.Time) float64 {
	day := schedule.DateOf(t, a.loc)
	n := int(day.At(0, time.UTC).Sub(a.from.At(0, time.UTC)) / (24 * time.Hour))
	switch {
	case n < 0:
		return a.x0
	case n >= a.days:
		return a.x0 + float64(a.days)*a.width
	}
	midnight, next := day.At(0, a.loc), day.AddDays(1).At(0, a.loc)
	return a.x0 + (float64(n)+float64(t.Sub(midnight))/float64(next.Sub(midnight)))*a.width
}

func (g Gantt) sheet(s *Sheet, rows []string, page, pages int) {
	r := chartFrame(s, g.Title, fmt.Sprintf("page %d of %d", page, pages))
	a := span{from: g.From, days: g.Days, loc: g.Calendar.Location(), x0: r.x0 + ganttLeft, width: (r.x1 - r.x0 - ganttLeft) / float64(g.Days)}
	top := r.y0 + ganttHead
	high := min(ganttRow, (r.y1-ganttKey-top)/float64(len(rows)))
	foot := top + high*float64(len(rows))
	columns(s, a, g.Calendar, r.y0, top, foot)
	for i, name := range rows {
		y := top + float64(i)*high
		s.Ink(Polyline(Point{r.x0, y}, Point{r.x1, y}), Hair, Solid)
		lines, size := fitCell(name, Regular, min(Small, high*0.55), ganttLeft-2)
		s.Text(r.x0+1, y+high/2+size*0.36, lines[0], size, Regular)
	}
	s.Ink(Polyline(Point{r.x0, foot}, Point{r.x1, foot}), Thin, Solid)
	bars := slices.Clone(g.Bars)
	slices.SortStableFunc(bars, func(x, y Bar) int { return x.Start.Compare(y.Start) })
	// Where the last label of each row ends, and which it was: one label does for bars
	// of one order that follow one another.
	ends, said := make([]float64, len(rows)), make([]string, len(rows))
	for _, b := range bars {
		i := slices.Index(rows, b.Row)
		if i < 0 {
			continue
		}
		x0, x1, x2 := a.at(b.Start), a.at(b.LaborEnd), a.at(b.End)
		if x2 <= a.x0 || x0 >= a.x0+a.width*float64(a.days) {
			continue
		}
		y, h := top+(float64(i)+barFrom)*high, high*barHigh
		if x2 > x1 {
			s.Ink(Polyline(Point{x1, y + h/2}, Point{x2, y + h/2}), Thin, Dotted)
		}
		if x1 <= a.x0 {
			continue
		}
		width, tone := Thin, plannedTone
		if b.Critical {
			width = Thick
		}
		if b.Started {
			tone = begunTone
		}
		box := Rect(x0, y, max(leastBar, x1-x0), h)
		s.Fill(box, tone, width)
		if size := min(Fine, h*0.8); Measure(b.Label, Regular, size) < x1-x0-0.8 {
			s.Put(Label{At: Point{(x0 + x1) / 2, y + h/2 + size*0.36}, Text: b.Label, Size: size, Anchor: Middle})
			said[i] = b.Label
			continue
		}
		size := min(Fine, high*barFrom*0.85)
		wide := Measure(b.Label, Regular, size)
		if size < leastLabel || b.Label == said[i] || x0 < ends[i] || x0+wide > r.x1 {
			continue
		}
		s.Text(x0, y-size*descent-0.2, b.Label, size, Regular)
		ends[i], said[i] = x0+wide+1, b.Label
	}
	ganttLegend(s, r.x0+1, r.y1-3)
	if !g.Now.IsZero() {
		if x := a.at(g.Now); x > a.x0 && x < a.x0+a.width*float64(a.days) {
			s.Ink(Polyline(Point{x, r.y0 + ganttHead - 2}, Point{x, foot}), Medium, Chain)
		}
	}
}

// ganttLegend says what the bars and lines mean.
func ganttLegend(s *Sheet, x, y float64) {
	const wide, high = 9.0, 3.2
	for _, k := range []struct {
		text string
		draw func(box Path, a, b Point)
	}{
		{"work planned", func(box Path, _, _ Point) { s.Fill(box, plannedTone, Thin) }},
		{"work begun", func(box Path, _, _ Point) { s.Fill(box, begunTone, Thin) }},
		{"decides its order's end", func(box Path, _, _ Point) { s.Fill(box, plannedTone, Thick) }},
		{"waits by the clock", func(_ Path, a, b Point) { s.Ink(Polyline(a, b), Thin, Dotted) }},
		{"now", func(_ Path, a, b Point) { s.Ink(Polyline(a, b), Medium, Chain) }},
		{"nobody works", func(box Path, _, _ Point) { s.Hatch(box, 45, 1.6, Hair); s.Ink(box, Hair, Solid) }},
	} {
		k.draw(Rect(x, y-high+0.6, wide, high), Point{x, y - high/2 + 0.6}, Point{x + wide, y - high/2 + 0.6})
		s.Text(x+wide+1.5, y, k.text, Fine, Regular)
		x += wide + Measure(k.text, Regular, Fine) + 6
	}
}

// Tones of bars; they are told apart in black and white by more than a third.
const (
	plannedTone Gray = 235
	begunTone   Gray = 150
)

// columns draws the dates, and hatches the days on which nobody works.
func columns(s *Sheet, a span, c *schedule.Calendar, head, top, foot float64) {
	every := 1
	for float64(every)*a.width < 9 {
		every++
	}
	for i := range a.days {
		x, day := a.x0+float64(i)*a.width, a.from.AddDays(i)
		if !c.IsWorkingDay(day) {
			s.Hatch(Rect(x, top, a.width, foot-top), 45, 1.6, Hair)
		}
		s.Ink(Polyline(Point{x, top}, Point{x, foot}), Hair, Solid)
		if i%every == 0 {
			s.Text(x+0.6, head+4, day.Weekday().String()[:3], Fine, Regular)
			s.Text(x+0.6, head+8.5, day.String()[5:], Fine, Bold)
		}
	}
	end := a.x0 + float64(a.days)*a.width
	s.Ink(Polyline(Point{end, top}, Point{end, foot}), Hair, Solid)
	s.Ink(Polyline(Point{a.x0, top}, Point{end, top}), Thin, Solid)
}

// chartFrame draws the frame of a chart with its title and returns what is left.
func chartFrame(s *Sheet, what, more string) room {
	w, h := s.Paper.Width, s.Paper.Height
	s.Ink(Rect(margin, margin, w-2*margin, h-2*margin), Medium, Solid)
	s.Text(margin+3, margin+7, what, Heading, Bold)
	s.Put(Label{At: Point{w - margin - 3, margin + 7}, Text: more, Size: Fine, Anchor: Right})
	return room{margin + 2, margin + 11, w - margin - 2, h - margin - 3}
}

// Load is the load of work centers by day, to draw: a row for each center, a column
// for each local date, filled from below by the share of the posts' time that is
// planned.
type Load struct {
	Title    string
	Days     []schedule.DayLoad // any order; those outside are left out
	From     schedule.Date
	Count    int // days drawn, 1 to MaxGanttDays
	Calendar *schedule.Calendar
	Paper    Paper // zero: A4
}

// Draw makes the chart. Error: ErrNoPlan.
func (l Load) Draw() (Drawing, error) {
	var rows []string
	for _, d := range l.Days {
		if !slices.Contains(rows, d.WorkCenter) {
			rows = append(rows, d.WorkCenter)
		}
	}
	if len(rows) == 0 || len(rows) > ganttRows || l.Count < 1 || l.Count > MaxGanttDays || l.Calendar == nil {
		return Drawing{}, fmt.Errorf("%w: %d centers of 1 to %d, %d days of 1 to %d", ErrNoPlan, len(rows), ganttRows, l.Count, MaxGanttDays)
	}
	if l.Paper.Width == 0 {
		l.Paper = A4
	}
	s := Sheet{Paper: l.Paper}
	r := chartFrame(&s, l.Title, "filled: share of the posts' hours that is planned; hatched: nobody works")
	a := span{from: l.From, days: l.Count, loc: l.Calendar.Location(), x0: r.x0 + ganttLeft, width: (r.x1 - r.x0 - ganttLeft) / float64(l.Count)}
	top := r.y0 + ganttHead
	high := min(30, (r.y1-top)/float64(len(rows)))
	columns(&s, a, l.Calendar, r.y0, top, top+high*float64(len(rows)))
	for i, name := range rows {
		y := top + float64(i+1)*high
		s.Ink(Polyline(Point{r.x0, y}, Point{r.x1, y}), Thin, Solid)
		lines, size := fitCell(name, Regular, Small, ganttLeft-2)
		s.Text(r.x0+1, y-high/2, lines[0], size, Regular)
		for _, d := range l.Days {
			n := int(d.Date.At(0, time.UTC).Sub(l.From.At(0, time.UTC)) / (24 * time.Hour))
			if d.WorkCenter != name || n < 0 || n >= l.Count || d.Available == 0 {
				continue
			}
			share := float64(d.Busy) / float64(d.Available)
			x, full := a.x0+float64(n)*a.width, high*0.85
			s.Ink(Rect(x+a.width*0.12, y-full, a.width*0.76, full), Hair, Solid)
			if share > 0 {
				s.Fill(Rect(x+a.width*0.12, y-full*min(1, share), a.width*0.76, full*min(1, share)), 200, Thin)
			}
			text := fmt.Sprintf("%.0f%%", share*100)
			if Measure(text, Regular, Fine) < a.width*0.7 && share > 0 {
				at := y - full*min(1, share) - 0.9 // above the fill, or under its top when it is full
				if share > 0.8 {
					at += Fine + 0.6
				}
				s.Put(Label{At: Point{x + a.width/2, at}, Text: text, Size: Fine, Anchor: Middle})
			}
		}
	}
	return Drawing{Name: "load", Title: l.Title, what: l.Title, scale: "none", Sheets: []Sheet{s}}, nil
}
