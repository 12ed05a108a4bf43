package drawing_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"time"

	"hatchwright/service/drawing"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// week is a plan of three hatches in the example shop.
func week(t *testing.T) (schedule.Schedule, []schedule.Center, *schedule.Calendar) {
	t.Helper()
	p := shop.Example().Profile
	centers, calendar, err := routing.Centers(p)
	if err != nil {
		t.Fatal(err)
	}
	var jobs []schedule.Job
	for _, key := range []string{"A", "B", "C"} {
		steps, err := routing.Build(routing.Work{Parts: []routing.Part{{Name: "lid", Panels: 3, Outlines: 1, Layers: 3, FaceArea: 0.5, Pieces: 3, StageMasses: []float64{2}, EdgeLength: 2}},
			Quantity: 1, CureHours: 16, SealCoats: 2, WaxCoats: 3, ReleaseCoats: 1}, p)
		if err != nil {
			t.Fatal(err)
		}
		jobs = append(jobs, routing.Job(key, steps))
	}
	s, err := schedule.Serial(jobs, centers, time.Date(2027, 3, 10, 12, 0, 0, 0, time.UTC), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, centers, calendar
}

func TestGantt(t *testing.T) {
	s, centers, calendar := week(t)
	g := drawing.Gantt{Title: "Plan of the shop", From: schedule.Date{Year: 2027, Month: 3, Day: 10}, Days: 10, Calendar: calendar, Now: time.Date(2027, 3, 11, 15, 0, 0, 0, time.UTC)}
	for _, c := range centers {
		for post := range c.Posts {
			g.Rows = append(g.Rows, fmt.Sprintf("%s %d", c.Key, post+1))
		}
	}
	for _, p := range s.Placements {
		g.Bars = append(g.Bars, drawing.Bar{Row: fmt.Sprintf("%s %d", p.WorkCenter, p.Post+1), Start: p.Start, LaborEnd: p.LaborEnd, End: p.End, Label: p.Job})
	}
	d, err := g.Draw()
	if err != nil {
		t.Fatal(err)
	}
	text := svg(t, d)
	for i := range d.Sheets {
		for _, fault := range drawing.Faults(&d.Sheets[i]) {
			t.Error(fault)
		}
	}
	for _, want := range []string{">A<", ">B<", ">C<", "work begun", "waits by the clock", "nobody works", "Plan of the shop", "gelcoat booth 1", "Wed", "03-10"} {
		if !strings.Contains(text, want) {
			t.Errorf("the chart does not say %q", want)
		}
	}
	again, err := g.Draw()
	if err != nil {
		t.Fatal(err)
	}
	if svg(t, again) != text {
		t.Error("drawn twice it is another chart")
	}
	for _, bad := range []drawing.Gantt{{}, {Rows: g.Rows, Calendar: calendar}, {Rows: g.Rows, Days: drawing.MaxGanttDays + 1, Calendar: calendar}, {Rows: g.Rows, Days: 3}} {
		if _, err := bad.Draw(); !errors.Is(err, drawing.ErrNoPlan) {
			t.Errorf("nothing to draw: %v", err)
		}
	}

	load, err := schedule.Load(s, centers)
	if err != nil {
		t.Fatal(err)
	}
	l, err := drawing.Load{Title: "Load of the shop", Days: load, From: g.From, Count: 10, Calendar: calendar}.Draw()
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range drawing.Faults(&l.Sheets[0]) {
		t.Error(fault)
	}
	if text := svg(t, l); !strings.Contains(text, "%") || !strings.Contains(text, "mold bench") {
		t.Error("the load chart has no figures")
	}
	if _, err := (drawing.Load{Count: 1, Calendar: calendar}).Draw(); !errors.Is(err, drawing.ErrNoPlan) {
		t.Errorf("nothing to draw: %v", err)
	}
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
