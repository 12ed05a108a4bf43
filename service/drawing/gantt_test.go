package drawing_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/drawing"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// floor is a shop with a number of orders to do, from Wednesday 10 March 2027, 07:00,
// four days before the clocks change there.
type floor struct {
	plan     schedule.Schedule
	centers  []schedule.Center
	calendar *schedule.Calendar
	rows     []shop.Center
}

func newFloor(t *testing.T, orders int) floor {
	t.Helper()
	p := shop.Example().Profile
	f := floor{rows: p.Centers}
	var err error
	if f.centers, f.calendar, err = routing.Centers(p); err != nil {
		t.Fatal(err)
	}
	start := time.Date(2027, 3, 10, 12, 0, 0, 0, time.UTC)
	var jobs []schedule.Job
	for i := range orders {
		steps, err := routing.Build(routing.Work{Parts: []routing.Part{
			{Name: "receiver", Panels: 5, Outlines: 3, Layers: 4 + i%3, FaceArea: 0.6, Pieces: 4, StageMasses: []float64{3, 2}, EdgeLength: 3},
			{Name: "lid", Panels: 3, Outlines: 1, Layers: 3, FaceArea: 0.3 + 0.1*float64(i%5), Pieces: 3, StageMasses: []float64{2}, EdgeLength: 2}},
			Quantity: 1 + i%3, CureHours: 16, SealCoats: 2, WaxCoats: 3, ReleaseCoats: 1}, p)
		if err != nil {
			t.Fatal(err)
		}
		j := routing.Job(fmt.Sprintf("%03d", i+1), steps)
		j.Promised = civil.Date{Year: 2027, Month: 3, Day: 18}.AddDays(1+i).At(0, f.calendar.Location())
		j.Accepted = start.Add(-time.Hour * time.Duration(orders-i))
		jobs = append(jobs, j)
	}
	if f.plan, err = schedule.Serial(jobs, f.centers, start, nil); err != nil {
		t.Fatal(err)
	}
	return f
}

// gantt is its chart over some days, 0 for all.
func (f floor) gantt(t *testing.T, days int) drawing.Gantt {
	t.Helper()
	g := drawing.Gantt{Title: "Plan of Kettlewell Boatworks", Note: "as of Wed 10 Mar 2027 07:00 EST", From: civil.Date{Year: 2027, Month: 3, Day: 10}, Days: days, Calendar: f.calendar, Now: f.plan.Origin}
	calendars := map[string]*schedule.Calendar{}
	for i, c := range f.rows {
		calendars[c.Key] = f.centers[i].Calendar
		for post := range c.Posts {
			g.Rows = append(g.Rows, row(c, post))
		}
	}
	marks := map[string]string{}
	for i, j := range f.plan.Jobs {
		marks[j.Job] = fmt.Sprint(i + 1)
		long := j.End.Sub(j.Start)
		g.Orders = append(g.Orders, drawing.OrderBar{Mark: fmt.Sprint(i + 1), Name: "PO-47" + j.Job + ", " + []string{"Brackwater Marine", "Fennimore Yachts"}[i%2], Start: j.Start, End: j.End,
			P50: j.End.Add(long / 50), P80: j.End.Add(long / 10), P95: j.End.Add(long / 5), Promise: civil.Date{Year: 2027, Month: 3, Day: 18}.AddDays(i), Late: j.Late})
	}
	for i, p := range f.plan.Placements {
		if p.Post < 0 {
			continue
		}
		work, err := calendars[p.WorkCenter].Openings(p.Start, p.LaborEnd)
		if err != nil {
			t.Fatal(err)
		}
		k := slices.IndexFunc(f.rows, func(c shop.Center) bool { return c.Key == p.WorkCenter })
		g.Bars = append(g.Bars, drawing.Bar{Row: row(f.rows[k], p.Post), Start: p.Start, LaborEnd: p.LaborEnd, End: p.End, Work: work,
			Mark: marks[p.Job], Label: p.Operation, Started: i == 0, Critical: i%3 == 0})
	}
	if days == 0 {
		for _, j := range f.plan.Jobs {
			g.Days = max(g.Days, 1+int(j.End.Sub(f.plan.Origin)/(24*time.Hour)))
		}
		g.Days = min(g.Days, drawing.MaxGanttDays)
	}
	return g
}

func row(c shop.Center, post int) string {
	if c.Posts == 1 {
		return c.Name
	}
	return fmt.Sprintf("%s %d", c.Name, post+1)
}

// load is its load chart over some days.
func (f floor) load(t *testing.T, days int) drawing.Load {
	t.Helper()
	load, err := schedule.Load(f.plan, f.centers, civil.Date{Year: 2027, Month: 3, Day: 9}.AddDays(days))
	if err != nil {
		t.Fatal(err)
	}
	l := drawing.Load{Title: "Load of Kettlewell Boatworks", Note: "as of Wed 10 Mar 2027 07:00 EST", Days: load, From: civil.Date{Year: 2027, Month: 3, Day: 10}, Count: days, Calendar: f.calendar, Now: f.plan.Origin}
	for _, c := range f.rows {
		l.Rows = append(l.Rows, drawing.LoadRow{Center: c.Key, Name: c.Name, Posts: c.Posts})
	}
	return l
}

// Charts of an empty shop, of few and of many orders, over days, weeks and months:
// nothing overlaps or leaves the sheet, every order on a sheet is in its key or on
// the sheets of orders, and drawn twice it is the same.
func TestGantt(t *testing.T) {
	for _, c := range []struct{ orders, days, sheets int }{
		{0, 7, 1},     // posts
		{3, 14, 3},    // two weeks of posts, one of orders
		{20, 42, 7},   // six weeks, one of orders
		{60, 120, 21}, // 18 of posts, three of orders
	} {
		g := newFloor(t, c.orders).gantt(t, c.days)
		g.Paper = drawing.Letter // the narrower one
		d, err := g.Draw()
		if err != nil {
			t.Fatal(err)
		}
		if len(d.Sheets) != c.sheets {
			t.Errorf("%d orders over %d days: %d sheets, want %d", c.orders, c.days, len(d.Sheets), c.sheets)
		}
		all := ""
		for i := range d.Sheets {
			for _, fault := range drawing.Faults(&d.Sheets[i]) {
				t.Errorf("%d orders, sheet %d: %s", c.orders, i+1, fault)
			}
			text := sheetSVG(t, d, i)
			if want := fmt.Sprintf("sheet %d of %d", i+1, c.sheets); !strings.Contains(text, want) {
				t.Errorf("%d orders: no %q", c.orders, want)
			}
			all += text
		}
		for _, o := range g.Orders {
			if !strings.Contains(all, o.Name) {
				t.Errorf("%d orders: %s is nowhere", c.orders, o.Name)
			}
		}
		first := sheetSVG(t, d, 0)
		for _, want := range []string{"outside shifts", "waits by the clock", "nobody works", "Gelcoat booth", "Wed", "10 Mar", "as of Wed 10 Mar 2027 07:00 EST"} {
			if !strings.Contains(first, want) {
				t.Errorf("%d orders: the chart does not say %q", c.orders, want)
			}
		}
		if empty := strings.Contains(first, "Nothing is planned in these days."); empty != (c.orders == 0) {
			t.Errorf("%d orders: nothing planned %v", c.orders, empty)
		}
		again, err := g.Draw()
		if err != nil || sheetSVG(t, again, 0) != first {
			t.Errorf("drawn twice it is another chart (%v)", err)
		}
	}
	g := newFloor(t, 3).gantt(t, 14)
	for _, bad := range []drawing.Gantt{{}, {Rows: g.Rows, Calendar: g.Calendar}, {Rows: g.Rows, Days: drawing.MaxGanttDays + 1, Calendar: g.Calendar}, {Rows: g.Rows, Days: 3}} {
		if _, err := bad.Draw(); !errors.Is(err, drawing.ErrNoPlan) {
			t.Errorf("nothing to draw: %v", err)
		}
	}
}

// Load charts over days, weeks and months say the hours, and what is planned beyond
// them.
func TestLoadChart(t *testing.T) {
	for _, days := range []int{1, 7, 42, 43, 366} {
		l := newFloor(t, 12).load(t, days)
		l.Paper = drawing.Letter
		l.Days[0].Busy = l.Days[0].Available + 90*time.Minute // no plan does that; a chart that hides it would be no use
		d, err := l.Draw()
		if err != nil {
			t.Fatal(err)
		}
		for _, fault := range drawing.Faults(&d.Sheets[0]) {
			t.Errorf("%d days: %s", days, fault)
		}
		text := sheetSVG(t, d, 0)
		for _, want := range []string{"Mold bench and router", "2 posts", "planned ", " of ", "more than there is"} {
			if !strings.Contains(text, want) {
				t.Errorf("%d days: no %q", days, want)
			}
		}
		if want := map[bool]string{true: "there, a week", false: "there, a day"}[days > 42]; !strings.Contains(text, want) {
			t.Errorf("%d days: no %q", days, want)
		}
	}
	if _, err := (drawing.Load{Count: 1, Calendar: newFloor(t, 1).calendar}).Draw(); !errors.Is(err, drawing.ErrNoPlan) {
		t.Errorf("nothing to draw: %v", err)
	}
}

func sheetSVG(t *testing.T, d drawing.Drawing, i int) string {
	t.Helper()
	return svg(t, drawing.Drawing{Title: d.Title, Sheets: d.Sheets[i : i+1]})
}

// svg renders the first sheet and reads it as XML.
func svg(t *testing.T, d drawing.Drawing) string {
	t.Helper()
	b, err := d.SVG()
	if err != nil {
		t.Fatal(err)
	}
	for r := xml.NewDecoder(bytes.NewReader(b)); ; {
		if _, err := r.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
	return string(b)
}
