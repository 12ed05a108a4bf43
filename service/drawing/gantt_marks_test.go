package drawing

import (
	"math"
	"strings"
	"testing"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// work is the inked bars of a row of one bar: rectangles that are filled.
func inked(s *Sheet) (boxes [][2]float64, lines int) {
	for _, it := range s.items {
		if it.label != nil {
			continue
		}
		runs, closed := it.path.runs(0.1)
		for i, run := range runs {
			if closed[i] && it.fill == plannedTone {
				boxes = append(boxes, [2]float64{run[0].X, run[1].X})
			} else if !closed[i] {
				lines++
			}
		}
	}
	return boxes, lines
}

// Work that stops over a night and a weekend is drawn as the pieces worked. By hand,
// days 20 mm wide from x = 100: Friday 12:00 to 16:00 is 110 to 113.333, Monday
// 08:00 to 09:00 is 166.667 to 167.5.
func TestStopsAreNotSolid(t *testing.T) {
	a := span{from: civil.Date{Year: 2027, Month: 3, Day: 5}, days: 7, loc: time.UTC, x0: 100, width: 20}
	at := func(day, hour int) time.Time { return time.Date(2027, 3, day, hour, 0, 0, 0, time.UTC) }
	b := Bar{Start: at(5, 12), LaborEnd: at(8, 9), End: at(8, 9), Mark: "1", Label: "laminate",
		Work: []schedule.Interval{{Start: at(5, 12), End: at(5, 16)}, {Start: at(8, 8), End: at(8, 9)}}}
	var s Sheet
	barRow(&s, a, []Bar{b}, 50, 19, 3)
	boxes, lines := inked(&s)
	want := [][2]float64{{110, 113 + 1/3.}, {166 + 2/3., 167.5}}
	if len(boxes) != 2 || lines != 1 {
		t.Fatalf("%v and %d lines", boxes, lines)
	}
	for i := range want {
		for k := range 2 {
			if d := boxes[i][k] - want[i][k]; d > 1e-9 || d < -1e-9 {
				t.Errorf("piece %d: %v, want %v", i, boxes[i], want[i])
			}
		}
	}
}

// Short bars keep their marks, in their order, in as many lines as there is room for.
func TestMarksOverShortBars(t *testing.T) {
	marks := []mark{{"11", 100}, {"12", 100.5}, {"7", 101}, {"13", 101.2}, {"14", 150}, {"15", 199}}
	for lanes := 1; lanes <= 3; lanes++ {
		s := Sheet{Paper: A4}
		putMarks(&s, marks, 80, lanes, 200)
		var words []string
		for _, it := range s.items {
			if it.label == nil {
				continue // white under it
			}
			words = append(words, it.label.Text)
			if _, _, x1, _ := it.label.box(); x1 > 200 {
				t.Errorf("%q ends at %g", it.label.Text, x1)
			}
		}
		if got := strings.Join(words, " "); got != "11 12 7 13 14 15" || len(words) != 2+min(lanes, 3) && lanes < 3 {
			t.Errorf("%d lanes: %q", lanes, words)
		}
		for _, fault := range Faults(&s) {
			t.Error(fault)
		}
	}
}

// Bars of one order in a row have one mark a day, of several orders each its own.
func TestMarksEachDay(t *testing.T) {
	a := span{from: civil.Date{Year: 2027, Month: 3, Day: 8}, days: 3, loc: time.UTC, x0: 100, width: 40}
	var bars []Bar
	for _, k := range []struct {
		mark      string
		day, hour int
	}{{"1", 8, 8}, {"1", 8, 10}, {"2", 8, 12}, {"2", 9, 8}, {"2", 9, 10}, {"1", 10, 8}} {
		at := time.Date(2027, 3, k.day, k.hour, 0, 0, 0, time.UTC)
		bars = append(bars, Bar{Start: at, LaborEnd: at.Add(time.Minute), End: at.Add(time.Minute), Mark: k.mark})
	}
	s := Sheet{Paper: A4}
	barRow(&s, a, bars, 50, 19, 3)
	if got := words(Drawing{Sheets: []Sheet{s}}); got != "1 2 2 1" {
		t.Errorf("marked %q", got)
	}
}

// Lines of the legend are the lines of the chart: the present is dashed in both.
func TestLegendIsTheChart(t *testing.T) {
	dashed := func(s *Sheet) (n int) {
		for _, it := range s.items {
			if it.label == nil && it.stroke.Type == Dashed && it.stroke.Width == Medium {
				runs, _ := it.path.runs(0.1)
				if long := runs[0][1].sub(runs[0][0]).norm(); long > 1.5*(3+1.3) { // shows a gap
					n++
				}
			}
		}
		return n
	}
	var s Sheet
	legend(&s, 20, 190, []sign{signNow})
	a := span{from: civil.Date{Year: 2027, Month: 3, Day: 5}, days: 7, loc: time.UTC, x0: 100, width: 20}
	Gantt{Now: time.Date(2027, 3, 6, 12, 0, 0, 0, time.UTC)}.now(&s, a, 30, 100)
	if n := dashed(&s); n != 2 {
		t.Errorf("%d dashed lines that show their gaps, want one in the legend and one in the chart", n)
	}
}

// A year's axis names months, six weeks' Mondays, a week's days; and the hours on the
// day of a change of the clocks lie where they belong.
func TestAxis(t *testing.T) {
	ny, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	c, err := schedule.NewCalendar(ny, []schedule.Shift{{Weekday: time.Monday, Start: 7 * time.Hour, End: 16 * time.Hour}}, []schedule.Closure{{From: civil.Date{Year: 2027, Month: 3, Day: 15}, To: civil.Date{Year: 2027, Month: 3, Day: 16}}})
	if err != nil {
		t.Fatal(err)
	}
	for days, want := range map[int]string{7: "Wed 10 Mar Thu 11 Mar Fri 12 Mar Sat 13 Mar Sun 14 Mar Mon, closed 15 Mar Tue, closed 16 Mar", 42: "Mon 15 Mar Mon 22 Mar Mon 29 Mar Mon 5 Apr Mon 12 Apr Mon 19 Apr",
		100: "Mon 15 Mar Mon 22 Mar Mon 29 Mar Mon 5 Apr Mon 12 Apr Mon 19 Apr Mon 26 Apr Mon 3 May Mon 10 May Mon 17 May Mon 24 May Mon 31 May Mon 7 Jun Mon 14 Jun",
		366: "Mar 2027 Apr 2027 May 2027 Jun 2027 Jul 2027 Aug 2027 Sep 2027 Oct 2027 Nov 2027 Dec 2027 Jan 2028 Feb 2028"} {
		s := Sheet{Paper: A4}
		columns(&s, span{from: civil.Date{Year: 2027, Month: 3, Day: 10}, days: days, loc: ny, x0: 50, width: 235 / float64(days)}, c, 20, 32, 150, false)
		if got := words(Drawing{Sheets: []Sheet{s}}); got != want {
			t.Errorf("%d days: %s", days, got)
		}
	}
	// The hours from 7 to 16 of a working day take all but 8 % of it at each end, a day
	// off 0.35 of its width: 1 + 6 x 0.35 = 3.1 of 62 mm are 20 mm a day.
	f := floorSpan(civil.Date{Year: 2027, Month: 3, Day: 22}, 7, c, 100, 162)
	for at, want := range map[time.Time]float64{
		time.Date(2027, 3, 22, 7, 0, 0, 0, ny): 101.6, time.Date(2027, 3, 22, 16, 0, 0, 0, ny): 118.4, time.Date(2027, 3, 22, 11, 30, 0, 0, ny): 110,
		time.Date(2027, 3, 23, 0, 0, 0, 0, ny): 120, time.Date(2027, 3, 24, 0, 0, 0, 0, ny): 127, time.Date(2027, 3, 29, 0, 0, 0, 0, ny): 162, time.Date(2027, 3, 22, 20, 0, 0, 0, ny): 119.2,
	} {
		if got := f.at(at); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v lies at %g, want %g", at, got, want)
		}
	}
	// Sunday 14 March 2027 has 23 hours: noon is the 11th of them.
	a := span{from: civil.Date{Year: 2027, Month: 3, Day: 14}, days: 2, loc: ny, width: 23}
	if got := a.at(time.Date(2027, 3, 14, 12, 0, 0, 0, ny)); got != 11 {
		t.Errorf("noon of a day of 23 hours lies at %g", got)
	}
}
