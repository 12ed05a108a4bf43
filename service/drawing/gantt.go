package drawing

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// Bar is an operation on a Gantt chart: labor from Start to LaborEnd, then waiting
// by the clock to End.
type Bar struct {
	Row                  string
	Start, LaborEnd, End time.Time
	// Work are the pieces in which the labor is done, within shifts; none: all of it
	// in one.
	Work []schedule.Interval
	// Mark names its order shortly: what the key and short bars are written with.
	Mark string
	// Label says more, after the mark, where the bar is long enough.
	Label    string
	Critical bool // decides when its order ends
	Started  bool // is being worked on
}

// Gantt is a plan to draw: first sheets with a row for each post of each work
// center, at most postDays local dates wide each, then sheets with a row for each
// order over all the days.
//
//	             Mon 30 Nov          Tue 1 Dec
//	booth 1   |   [2]~~~~~~~~~~~~~|             |     [=] work   ~ waiting by the clock
//	booth 2   |      [1 gelco]----|---[]        |     --- stops outside the shifts
type Gantt struct {
	Title    string
	Note     string   // right of the title: of when it is
	Foot     []string // what else is to be known of it
	Rows     []string // in order, from above
	Bars     []Bar
	Orders   []OrderBar // in order, from above
	From     civil.Date
	Days     int // 1 to MaxGanttDays
	Calendar *schedule.Calendar
	Now      time.Time // a line is drawn there; zero: none
	Paper    Paper     // zero: A4
}

// Bounds of what one chart holds, so that it can be read.
const (
	MaxGanttDays = 366
	postDays     = 7  // on a sheet of posts; more go on the next
	ganttRows    = 12 // posts on a sheet
	orderRows    = 20 // orders on a sheet
)

// ErrNoPlan tells of a chart without rows or days, or with more than it can hold.
var ErrNoPlan = errors.New("drawing: nothing to draw a plan of")

// gantt's measures on paper, mm.
const (
	ganttLeft = 38.0 // for the names of the rows
	ganttHead = 12.0 // for the dates
	ganttKey  = 7.0  // for what bars mean
	ganttRow  = 19.0 // a row is no higher
	leastBar  = 0.35 // a bar that would be thinner is this wide
	lane      = 2.7  // a line of marks over the bars
	waitRoom  = 1.7  // under the bars, for what waits
	barHigh   = 6.0  // a bar is no higher
)

// Draw makes the chart. Error: ErrNoPlan.
func (g Gantt) Draw() (Drawing, error) {
	if len(g.Rows) == 0 || g.Days < 1 || g.Days > MaxGanttDays || g.Calendar == nil {
		return Drawing{}, fmt.Errorf("%w: %d rows, %d days of 1 to %d", ErrNoPlan, len(g.Rows), g.Days, MaxGanttDays)
	}
	if g.Paper.Width == 0 {
		g.Paper = A4
	}
	g.Bars = slices.Clone(g.Bars)
	slices.SortStableFunc(g.Bars, func(x, y Bar) int { return x.Start.Compare(y.Start) })
	type page func(s *Sheet, number string)
	var pages []page
	weeks := (g.Days + postDays - 1) / postDays
	each := (g.Days + weeks - 1) / weeks
	for day := 0; day < g.Days; day += each {
		for from := 0; from < len(g.Rows); from += ganttRows {
			rows := g.Rows[from:min(from+ganttRows, len(g.Rows))]
			pages = append(pages, func(s *Sheet, number string) { g.posts(s, rows, g.From.AddDays(day), min(each, g.Days-day), number) })
		}
	}
	for from := 0; from < len(g.Orders); from += orderRows {
		orders := g.Orders[from:min(from+orderRows, len(g.Orders))]
		pages = append(pages, func(s *Sheet, number string) { g.orders(s, orders, number) })
	}
	d := Drawing{Name: "gantt", Title: g.Title, what: g.Title, scale: "none", date: civil.DateOf(g.Now, g.Calendar.Location())}
	for i, p := range pages {
		s := Sheet{Paper: g.Paper}
		p(&s, fmt.Sprintf("sheet %d of %d", i+1, len(pages)))
		d.Sheets = append(d.Sheets, s)
	}
	return d, nil
}

// foot is the room for the notes under a chart.
func foot(notes []string) float64 { return float64(len(notes)) * Fine * LineHeight }

func putFoot(s *Sheet, x, y, width float64, notes []string) {
	for i, text := range notes {
		s.Text(x, y+Fine+float64(i)*Fine*LineHeight, shorten(text, Regular, Fine, width), Fine, Regular)
	}
}

// posts draws the posts' rows over some of the days.
func (g Gantt) posts(s *Sheet, rows []string, from civil.Date, days int, number string) {
	r := chartFrame(s, g.Title, "work centers, "+dates(from, days), g.Note, number)
	a := floorSpan(from, days, g.Calendar, r.x0+ganttLeft, r.x1)
	var shown []Bar
	for _, b := range g.Bars {
		if slices.Contains(rows, b.Row) && a.shows(b.Start, b.End) {
			shown = append(shown, b)
		}
	}
	key := g.key(shown)
	keyRows := (len(key) + keyColumns - 1) / keyColumns
	top := r.y0 + ganttHead
	below := ganttKey + float64(keyRows)*Fine*LineHeight + 1.5 + foot(g.Foot)
	high := min(ganttRow, (r.y1-below-top)/float64(len(rows)))
	bottom := top + high*float64(len(rows))
	columns(s, a, g.Calendar, r.y0, top, bottom, true)
	g.now(s, a, top, bottom) // under what is written
	lanes := max(1, int((high-waitRoom-3)/lane))
	for i, name := range rows {
		y := top + float64(i)*high
		s.Ink(Polyline(Point{r.x0, y}, Point{r.x1, y}), Hair, Solid)
		lines, size := fitCell(name, Regular, min(Small, high*0.55), ganttLeft-2)
		for k, line := range lines[:min(2, len(lines))] {
			s.Text(r.x0+1, y+high/2+size*(0.36+LineHeight*(float64(k)-float64(min(2, len(lines))-1)/2)), line, size, Regular)
		}
		var of []Bar
		for _, b := range shown {
			if b.Row == name {
				of = append(of, b)
			}
		}
		barRow(s, a, of, y, high, lanes)
	}
	s.Ink(Polyline(Point{r.x0, bottom}, Point{r.x1, bottom}), Thin, Solid)
	if len(shown) == 0 {
		s.Put(Label{At: Point{(a.x0 + r.x1) / 2, (top + bottom) / 2}, Text: "Nothing is planned in these days.", Size: Plain, Anchor: Middle, Clear: true})
	}
	y := bottom + 1
	wide := (r.x1 - r.x0) / keyColumns
	for i, text := range key {
		s.Text(r.x0+1+wide*float64(i/keyRows), y+Fine+float64(i%keyRows)*Fine*LineHeight, shorten(text, Regular, Fine, wide-3), Fine, Regular)
	}
	putFoot(s, r.x0+1, y+float64(keyRows)*Fine*LineHeight+0.5, r.x1-r.x0-2, g.Foot)
	legend(s, r.x0+1, r.y1-1.5, []sign{
		{"planned", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, plannedTone, Thin) }},
		{"begun", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, begunTone, Thin) }},
		{"decides its order's end", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, plannedTone, Thick) }},
		{"goes on after a break", func(s *Sheet, _ Path, a, b Point) { s.Ink(Polyline(a, b), Thin, Solid) }},
		{"waits by the clock", func(s *Sheet, _ Path, a, b Point) { s.Ink(Polyline(a, b), Medium, Dotted) }},
		signNow, {"outside shifts", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, shutTone, Hair) }}, signOff,
		{"numbers: orders; none: as before", nil},
	})
}

// Columns and rows of the key under the posts.
const (
	keyColumns = 4
	keyRows    = 5
)

// key says which orders the marks on a sheet are.
func (g Gantt) key(bars []Bar) []string {
	var out []string
	for _, o := range g.Orders {
		if slices.ContainsFunc(bars, func(b Bar) bool { return b.Mark == o.Mark }) {
			out = append(out, o.Mark+"  "+o.Name)
		}
	}
	if most := keyColumns * keyRows; len(out) > most {
		out = append(out[:most-1], fmt.Sprintf("and %d more: on the sheets of orders", len(out)-most+1))
	}
	return out
}

// barRow draws the bars of a post, by start, and names their orders: in the bar
// where that fits, otherwise above.
func barRow(s *Sheet, a span, bars []Bar, y, high float64, lanes int) {
	barTop := y + 0.5 + float64(lanes)*lane
	h := min(barHigh, y+high-waitRoom-barTop)
	mid := barTop + h/2
	waiting := func(b Bar) {
		if x1, x2 := a.at(b.LaborEnd), a.at(b.End); x2 > x1 {
			s.Ink(Polyline(Point{x1, barTop + h}, Point{x1, barTop + h + 0.9}, Point{x2, barTop + h + 0.9}), Medium, Dotted)
		}
	}
	for _, b := range bars {
		waiting(b)
	}
	var above []mark
	said, day := "", civil.Date{}
	for _, b := range bars {
		if on := civil.DateOf(b.Start, a.loc); on != day {
			said, day = "", on // each day is read by itself
		}
		if !a.shows(b.Start, b.LaborEnd) {
			continue
		}
		work := b.Work
		if len(work) == 0 {
			work = []schedule.Interval{{Start: b.Start, End: b.LaborEnd}}
		}
		width, tone := Thin, plannedTone
		if b.Critical {
			width = Thick
		}
		if b.Started {
			tone = begunTone
		}
		if len(work) > 1 {
			s.Ink(Polyline(Point{a.at(work[0].Start), mid}, Point{a.at(work[len(work)-1].End), mid}), Thin, Solid)
		}
		x, wide := 0.0, 0.0 // the widest piece
		for _, p := range work {
			x0, x1 := a.at(p.Start), a.at(p.End)
			if !a.shows(p.Start, p.End) {
				continue
			}
			s.Fill(Rect(x0, barTop, max(leastBar, x1-x0), h), tone, width)
			if x1-x0 > wide || wide == 0 {
				x, wide = x0, max(x1-x0, leastBar)
			}
		}
		size := min(Fine, h*0.8)
		text := b.Mark + " " + b.Label
		for _, text := range []string{text, b.Mark} {
			if Measure(text, Regular, size) < wide-1.2 {
				s.Put(Label{At: Point{x + wide/2, mid + size*0.36}, Text: text, Size: size, Anchor: Middle})
				said, wide = b.Mark, -1
				break
			}
		}
		if wide < 0 {
			continue
		}
		if b.Mark != said { // one mark does for bars of one order that follow one another in a day
			above = append(above, mark{b.Mark, a.at(b.Start)})
			said = b.Mark
		}
	}
	putMarks(s, above, barTop-0.5, lanes, a.end())
}

// mark is a name to be set over a place.
type mark struct {
	text string
	x    float64
}

// putMarks sets marks over their places in up to lanes lines. Marks that would run
// into one another form one text of several lines, in the order of their places.
func putMarks(s *Sheet, marks []mark, y float64, lanes int, end float64) {
	const gap = 1.0
	type group struct {
		marks []mark
		lines []string
		x0, w float64
	}
	set := func(k *group) {
		var words []string
		for _, m := range k.marks {
			words = append(words, m.text)
		}
		text := strings.Join(words, " ")
		// As narrow as the lines allow.
		for k.w = 0; ; k.w += 0.5 {
			k.lines = Wrap(text, Regular, Fine, k.w)
			if len(k.lines) <= lanes {
				break
			}
		}
		k.w = 0
		for _, l := range k.lines {
			k.w = max(k.w, Measure(l, Regular, Fine))
		}
		k.x0 = min(k.marks[0].x, end-k.w-0.3)
	}
	var groups []group
	for _, m := range marks {
		k := group{marks: []mark{m}}
		set(&k)
		for len(groups) > 0 && k.x0 < groups[len(groups)-1].x0+groups[len(groups)-1].w+gap {
			k.marks = append(slices.Clone(groups[len(groups)-1].marks), k.marks...)
			groups = groups[:len(groups)-1]
			set(&k)
		}
		groups = append(groups, k)
	}
	for _, k := range groups {
		for i, line := range k.lines {
			s.Put(Label{At: Point{k.x0, y - float64(len(k.lines)-1-i)*lane - Fine*descent}, Text: line, Size: Fine, Clear: true})
		}
	}
}

// now draws the line of the present.
func (g Gantt) now(s *Sheet, a span, top, bottom float64) {
	if x := a.at(g.Now); !g.Now.IsZero() && x > a.x0 && x < a.end() {
		s.Ink(Polyline(Point{x, top - 1}, Point{x, bottom}), Medium, Dashed)
	}
}

// sign is an entry of a legend: what it means, and how it is drawn in a box or from a
// to b; nil draws nothing.
type sign struct {
	text string
	draw func(s *Sheet, box Path, a, b Point)
}

var (
	signNow = sign{"now", func(s *Sheet, _ Path, a, b Point) { s.Ink(Polyline(a, b), Medium, Dashed) }}
	signOff = sign{"nobody works", func(s *Sheet, box Path, _, _ Point) { s.Hatch(box, 45, 1.6, Hair); s.Ink(box, Hair, Solid) }}
)

// legend says what bars and lines mean, in one line. A line is as long as two and a
// half of the longest dashes, so that it looks as it does in the chart.
func legend(s *Sheet, x, y float64, signs []sign) {
	const wide, high = 8.0, 3.0
	for _, k := range signs {
		if k.draw != nil {
			k.draw(s, Rect(x, y-high+0.6, wide, high), Point{x, y - high/2 + 0.6}, Point{x + wide, y - high/2 + 0.6})
			x += wide + 1.2
		}
		s.Text(x, y, k.text, Fine, Regular)
		x += Measure(k.text, Regular, Fine) + 2.4
	}
}

// Tones of bars; they are told apart in black and white by more than a third.
const (
	plannedTone Gray = 222
	begunTone   Gray = 150
	lateTone    Gray = 60
	shutTone    Gray = 242 // hours outside the shifts
)

// span is the axis of time on a sheet: local dates are columns of equal width,
// whatever hours a change of the clocks gives them. Where edges are set, they are the
// dates' own, and most of each belongs to the hours from open to shut.
type span struct {
	from  civil.Date
	days  int
	loc   *time.Location
	x0    float64
	width float64 // of a day; of a working day where edges are set
	// edges are where dates begin, and the end of the last.
	edges      []float64
	open, shut time.Duration // since midnight; shut 0: no hours are set apart
}

// Shares of a sheet of posts: hours outside the shifts get little of a day, days off
// little of a week, since nothing but waiting happens then.
const (
	nightShare = 0.08 // of a day, before and after the shifts each
	offShare   = 0.35 // of a working day's width
	mostOpen   = 16 * time.Hour
)

// floorSpan is the axis of a sheet of posts.
func floorSpan(from civil.Date, days int, c *schedule.Calendar, x0, x1 float64) span {
	a := span{from: from, days: days, loc: c.Location(), x0: x0}
	weights, sum := make([]float64, days), 0.0
	for i := range days {
		weights[i] = 1
		if !c.IsWorkingDay(from.AddDays(i)) {
			weights[i] = offShare
		}
		sum += weights[i]
	}
	a.width = (x1 - x0) / sum
	a.edges = []float64{x0}
	for _, w := range weights {
		a.edges = append(a.edges, a.edges[len(a.edges)-1]+w*a.width)
	}
	a.edges[days] = x1
	a.open, a.shut = 24*time.Hour, 0
	for i := range days {
		midnight, next := from.AddDays(i).At(0, a.loc), from.AddDays(i+1).At(0, a.loc)
		hours, err := c.Openings(midnight, next)
		if err != nil {
			break // a year that no calendar covers has no hours either
		}
		for _, o := range hours {
			begin, end := wall(o.Start), wall(o.End)
			if !o.End.Before(next) {
				end = 24 * time.Hour
			}
			a.open, a.shut = min(a.open, begin), max(a.shut, end)
		}
	}
	if a.shut-a.open > mostOpen || a.shut <= a.open {
		a.shut = 0
	}
	return a
}

// wall is the time of day on the wall's clock.
func wall(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
}

// edge is where the day i begins, and the end for the day after the last.
func (a span) edge(i int) float64 {
	if a.edges != nil {
		return a.edges[i]
	}
	return a.x0 + float64(i)*a.width
}

// end is where the axis ends.
func (a span) end() float64 { return a.edge(a.days) }

// at is where an instant lies; ends are cut to the chart.
func (a span) at(t time.Time) float64 {
	day := civil.DateOf(t, a.loc)
	n := daysBetween(a.from, day)
	switch {
	case n < 0:
		return a.x0
	case n >= a.days:
		return a.end()
	}
	x0, x1 := a.edge(n), a.edge(n+1)
	share := func(from, to time.Time) float64 { return float64(t.Sub(from)) / float64(to.Sub(from)) }
	midnight, next := day.At(0, a.loc), day.AddDays(1).At(0, a.loc)
	if a.shut == 0 {
		return x0 + (x1-x0)*share(midnight, next)
	}
	open, shut := day.At(a.open, a.loc), day.At(a.shut, a.loc)
	night := nightShare * (x1 - x0)
	switch {
	case t.Before(open):
		return x0 + night*share(midnight, open)
	case t.Before(shut):
		return x0 + night + (x1-x0-2*night)*share(open, shut)
	}
	return x1 - night + night*share(shut, next)
}

// shows reports whether any of a stretch of time is on the axis.
func (a span) shows(from, to time.Time) bool {
	return from.Before(a.from.AddDays(a.days).At(0, a.loc)) && to.After(a.from.At(0, a.loc))
}

func daysBetween(a, b civil.Date) int {
	return int(b.At(0, time.UTC).Sub(a.At(0, time.UTC)) / (24 * time.Hour))
}

// Widths of a day, mm, from which on it is drawn in more detail.
const (
	dayHours  = 22.0 // hours outside the shifts, and ticks of 2 hours
	dayNamed  = 9.0  // each day has its date; else weeks, then months
	dayLined  = 2.0  // each day has its line
	weekends  = 1.5  // weekends are marked, not closures alone
	weekNamed = 10.0
)

// columns draws the dates, and marks the hours and days on which nobody works: weeks
// stand for days where these are too narrow to be named, months for weeks. hours
// tells whether there is a time of day to be read.
func columns(s *Sheet, a span, c *schedule.Calendar, head, top, foot float64, hours bool) {
	hours = hours && a.width >= dayHours
	end := a.end()
	tick := func(x float64, upper, lower string) {
		s.Ink(Polyline(Point{x, head + 1}, Point{x, foot}), Hair, Solid)
		if x+0.6+max(Measure(upper, Regular, Fine), Measure(lower, Bold, Fine)) < end {
			s.Text(x+0.6, head+4, upper, Fine, Regular)
			s.Text(x+0.6, head+8, lower, Fine, Bold)
		}
	}
	for i := range a.days {
		x, wide, day := a.edge(i), a.edge(i+1)-a.edge(i), a.from.AddDays(i)
		if !c.IsWorkingDay(day) && (a.width >= weekends || c.IsClosed(day)) {
			s.Hatch(Rect(x, top, wide, foot-top), 45, 1.6, Hair)
		} else if hours {
			shut(s, a, c, day, top, foot)
		}
		upper, lower := day.Weekday().String()[:3], dayMonth(day)
		switch first := i == 0; {
		case a.width >= dayNamed:
			if c.IsClosed(day) {
				if upper += ", closed"; Measure(upper, Regular, Fine) > wide-0.8 {
					upper = "closed"
				}
			}
			tick(x, upper, lower)
		case 7*a.width >= weekNamed:
			if day.Weekday() == time.Monday {
				tick(x, "Mon", lower)
			} else if a.width >= dayLined {
				s.Ink(Polyline(Point{x, top}, Point{x, foot}), Hair, Solid)
			}
		case day.Day == 1 || first && day.Day < 20:
			tick(x, lower[strings.Index(lower, " ")+1:], fmt.Sprint(day.Year))
		case day.Weekday() == time.Monday:
			s.Ink(Polyline(Point{x, top - 1}, Point{x, top}), Hair, Solid)
		}
	}
	if hours {
		for i := range a.days {
			last := math.Inf(-1)
			for hour := range 24 {
				x := a.at(a.from.AddDays(i).At(time.Duration(hour)*time.Hour, a.loc))
				text := fmt.Sprint(hour)
				if half := Measure(text, Regular, hourSize) / 2; hour%2 == 1 || time.Duration(hour)*time.Hour < a.open || a.shut > 0 && time.Duration(hour)*time.Hour > a.shut || x-half < last+1.5 || a.edge(i+1)-a.edge(i) < a.width {
					continue
				} else {
					last = x + half
				}
				s.Ink(Polyline(Point{x, top - 0.8}, Point{x, top}), Hair, Solid)
				s.Put(Label{At: Point{x, top - 1.1}, Text: text, Size: hourSize, Anchor: Middle})
			}
		}
	}
	s.Ink(Polyline(Point{end, top}, Point{end, foot}), Hair, Solid)
	s.Ink(Polyline(Point{a.x0, top}, Point{end, top}), Thin, Solid)
}

// hourSize is the size of the hours, em, mm.
const hourSize = 1.9

// shut tints the hours of a day that are outside the shifts.
func shut(s *Sheet, a span, c *schedule.Calendar, day civil.Date, top, foot float64) {
	from, to := day.At(0, a.loc), day.AddDays(1).At(0, a.loc)
	open, err := c.Openings(from, to)
	if err != nil {
		return // a year that no calendar covers has no hours either
	}
	for _, o := range append(open, schedule.Interval{Start: to, End: to}) {
		// The last midnight is the end of this day here, not the next day's column.
		x0, x1 := a.at(from), a.edge(daysBetween(a.from, day)+1)
		if o.Start.Before(to) {
			x1 = a.at(o.Start)
		}
		if x1 > x0 {
			s.Fill(Rect(x0, top, x1-x0, foot-top), shutTone, 0)
		}
		if from = o.End; !from.Before(to) {
			return
		}
	}
}

// dayMonth writes a date as it is spoken in either order of figures: 9 Dec.
func dayMonth(d civil.Date) string { return fmt.Sprintf("%d %s", d.Day, d.Month.String()[:3]) }

// dates writes a span of days.
func dates(from civil.Date, days int) string {
	last := from.AddDays(days - 1)
	if days == 1 {
		return fmt.Sprintf("%s %s %d", from.Weekday().String()[:3], dayMonth(from), from.Year)
	}
	first := dayMonth(from)
	if last.Year != from.Year {
		first = fmt.Sprintf("%s %d", first, from.Year)
	}
	return fmt.Sprintf("%s %s to %s %s %d", from.Weekday().String()[:3], first, last.Weekday().String()[:3], dayMonth(last), last.Year)
}

// shorten cuts a line to a width, and shows that it did.
func shorten(text string, face Face, size, width float64) string {
	if Measure(text, face, size) <= width {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && Measure(string(runes)+"…", face, size) > width {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimRight(string(runes), " ,") + "…"
}

// chartFrame draws the frame of a chart with its title, what is on this sheet, of
// when it is and which sheet it is, and returns what is left.
func chartFrame(s *Sheet, title, what, note, number string) room {
	w, h := s.Paper.Width, s.Paper.Height
	s.Ink(Rect(margin, margin, w-2*margin, h-2*margin), Medium, Solid)
	right := w - margin - 3
	s.Put(Label{At: Point{right, margin + 5}, Text: note, Size: Fine, Anchor: Right})
	s.Put(Label{At: Point{right, margin + 9}, Text: number, Size: Fine, Anchor: Right})
	least := Measure(what, Regular, Small)
	title = shorten(title, Bold, Heading, right-max(Measure(note, Regular, Fine), Measure(number, Regular, Fine))-margin-6-least-5)
	s.Text(margin+3, margin+7, title, Heading, Bold)
	s.Text(margin+3+Measure(title, Bold, Heading)+4, margin+7, what, Small, Regular)
	return room{margin + 2, margin + 11, w - margin - 2, h - margin - 2}
}
