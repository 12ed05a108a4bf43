package drawing

import (
	"fmt"
	"slices"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/quantity"
	"hatchwright/service/schedule"
)

// LoadRow is a work center on a load chart.
type LoadRow struct {
	Center string // schedule.DayLoad.WorkCenter
	Name   string
	Posts  int
}

// Load is the load of work centers, to draw: a row for each center, a column for
// each local date, or for each week where days would be too narrow. A column is as
// high as the hours that the posts are there, filled with the hours planned; what is
// planned beyond them stands black on top.
type Load struct {
	Title    string
	Note     string   // right of the title: of when it is
	Foot     []string // what else is to be known of it
	Rows     []LoadRow
	Days     []schedule.DayLoad // any order; those outside are left out
	From     civil.Date
	Count    int // days drawn, 1 to MaxGanttDays
	Calendar *schedule.Calendar
	Now      time.Time // from when on hours count
	Paper    Paper     // zero: A4
}

// Measures of load charts.
const (
	loadDays  = 42   // more are drawn as weeks
	loadRows  = 8    // centers on a sheet
	loadRow   = 34.0 // mm, a row is no higher
	fullShare = 0.95 // of the hours: from there on there is no room for more
)

const (
	loadTone Gray = 205
	fullTone Gray = 140
)

// Draw makes the chart. Error: ErrNoPlan.
func (l Load) Draw() (Drawing, error) {
	if len(l.Rows) == 0 || l.Count < 1 || l.Count > MaxGanttDays || l.Calendar == nil {
		return Drawing{}, fmt.Errorf("%w: %d centers, %d days of 1 to %d", ErrNoPlan, len(l.Rows), l.Count, MaxGanttDays)
	}
	if l.Paper.Width == 0 {
		l.Paper = A4
	}
	d := Drawing{Name: "load", Title: l.Title, what: l.Title, scale: "none", date: civil.DateOf(l.Now, l.Calendar.Location())}
	pages := (len(l.Rows) + loadRows - 1) / loadRows
	for i := range pages {
		s := Sheet{Paper: l.Paper}
		l.sheet(&s, l.Rows[i*loadRows:min((i+1)*loadRows, len(l.Rows))], fmt.Sprintf("sheet %d of %d", i+1, pages))
		d.Sheets = append(d.Sheets, s)
	}
	return d, nil
}

// column is what is planned and available in a day or a week.
type column struct {
	busy, available time.Duration
	from, days      int
}

func (l Load) sheet(s *Sheet, rows []LoadRow, number string) {
	r := chartFrame(s, l.Title, "hours planned of hours available, "+dates(l.From, l.Count), l.Note, number)
	a := span{from: l.From, days: l.Count, loc: l.Calendar.Location(), x0: r.x0 + ganttLeft, width: (r.x1 - r.x0 - ganttLeft) / float64(l.Count)}
	top := r.y0 + ganttHead
	high := min(loadRow, (r.y1-ganttKey-foot(l.Foot)-top)/float64(len(rows)))
	bottom := top + high*float64(len(rows))
	columns(s, a, l.Calendar, r.y0, top, bottom, false)
	unit := "a day"
	if l.Count > loadDays {
		unit = "a week"
	}
	for i, k := range rows {
		y := top + float64(i+1)*high
		s.Ink(Polyline(Point{r.x0, y}, Point{r.x1, y}), Thin, Solid)
		l.row(s, a, k, l.columns(k.Center), y, high)
	}
	putFoot(s, r.x0+1, bottom+1, r.x1-r.x0-2, l.Foot)
	there := "hours that the posts are there, " + unit
	if n := daysBetween(l.From, civil.DateOf(l.Now, a.loc)); !l.Now.IsZero() && n >= 0 && n < l.Count {
		there += "; on " + dayMonth(l.From.AddDays(n)) + " from " + l.Now.In(a.loc).Format("15:04") + " on"
	}
	legend(s, r.x0+1, r.y1-1.5, []sign{
		{there, func(s *Sheet, box Path, _, _ Point) { s.Fill(box, White, Thin) }},
		{"planned", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, loadTone, Thin) }},
		{"full: 95 % or more", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, fullTone, Thin) }},
		{"more than there is", func(s *Sheet, box Path, _, _ Point) { s.Fill(box, Black, Thin) }},
		signOff,
	})
}

// columns sums a center's days, by the week from the first day on where they would
// be too many.
func (l Load) columns(center string) []column {
	step := 1
	if l.Count > loadDays {
		step = 7
	}
	out := make([]column, (l.Count+step-1)/step)
	for i := range out {
		out[i].from, out[i].days = i*step, min(step, l.Count-i*step)
	}
	if step == 7 { // weeks begin on Mondays; the first and the last may be shorter
		out = nil
		for i := range l.Count {
			if i == 0 || l.From.AddDays(i).Weekday() == time.Monday {
				out = append(out, column{from: i})
			}
			out[len(out)-1].days++
		}
	}
	for _, d := range l.Days {
		n := daysBetween(l.From, d.Date)
		if d.WorkCenter != center || n < 0 || n >= l.Count {
			continue
		}
		i := slices.IndexFunc(out, func(k column) bool { return n >= k.from && n < k.from+k.days })
		out[i].busy += d.Busy
		out[i].available += d.Available
	}
	return out
}

func (l Load) row(s *Sheet, a span, k LoadRow, list []column, y, high float64) {
	var sum column
	most := time.Duration(0)
	for _, c := range list {
		sum.busy += c.busy
		sum.available += c.available
		most = max(most, c.busy, c.available)
	}
	posts := "1 post"
	if k.Posts != 1 {
		posts = fmt.Sprintf("%d posts", k.Posts)
	}
	lines, size := fitCell(k.Name, Bold, Small, ganttLeft-2)
	at := y - high + 1.5
	for _, line := range lines[:min(2, len(lines))] {
		s.Text(a.x0-ganttLeft+1, at+size*capHeight, line, size, Bold)
		at += size * LineHeight
	}
	for _, text := range []string{posts, "planned " + short(sum.busy) + " h", "of " + short(sum.available) + " h" + percent(sum)} {
		if at+Fine*LineHeight > y {
			break
		}
		s.Text(a.x0-ganttLeft+1, at+Fine*capHeight, text, Fine, Regular)
		at += Fine * LineHeight
	}
	if most == 0 {
		return
	}
	// One way of writing for all of a row: with the hours there, if that fits.
	figure := func(c column) string { return short(c.busy) + " of " + short(c.available) }
	if slices.ContainsFunc(list, func(c column) bool {
		return c.days == list[len(list)/2].days && Measure(figure(c), Bold, Fine) > a.width*float64(c.days)-0.4
	}) {
		figure = func(c column) string { return short(c.busy) }
	}
	const over = Fine + 1 // for the figures
	scale := (high - over - 1) / float64(most)
	for _, c := range list {
		if c.available == 0 && c.busy == 0 {
			continue
		}
		inset := min(1.2, a.width*float64(c.days)*0.1)
		x, w := a.x0+a.width*float64(c.from)+inset, a.width*float64(c.days)-2*inset
		tall, fill := float64(c.available)*scale, float64(c.busy)*scale
		s.Fill(Rect(x, y-tall, w, tall), White, Thin)
		tone := loadTone
		if float64(c.busy) >= fullShare*float64(c.available) {
			tone = fullTone
		}
		if fill > 0 {
			s.Fill(Rect(x, y-min(fill, tall), w, min(fill, tall)), tone, Thin)
		}
		if fill > tall {
			s.Fill(Rect(x, y-fill, w, fill-tall), Black, Thin)
		}
		face := Regular
		if c.busy > c.available {
			face = Bold
		}
		if text := figure(c); Measure(text, face, Fine) <= a.width*float64(c.days)-0.4 {
			s.Put(Label{At: Point{x + w/2, y - max(fill, tall) - 1}, Text: text, Size: Fine, Face: face, Anchor: Middle, Clear: true})
		}
	}
}

// short writes hours: a tenth where they are few.
func short(d time.Duration) string {
	if h := d.Hours(); h < 10 {
		return quantity.Decimal(h, 1)
	}
	return quantity.Decimal(d.Hours(), 0)
}

func percent(c column) string {
	if c.available == 0 {
		return ""
	}
	return fmt.Sprintf(", %.0f %%", 100*float64(c.busy)/float64(c.available))
}
