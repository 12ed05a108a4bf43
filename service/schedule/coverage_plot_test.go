package schedule_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"hatchwright/service/schedule"
)

var plotStudy = flag.Bool("plot-study", false, "draw testdata/studies/coverage.svg anew, from -study-years simulated years")

// plotPath is the study's plot, with the counts it was drawn from as a table.
var plotPath = filepath.Join("..", "..", "testdata", "studies", "coverage.svg")

// The committed plot shows what the study gives. It is drawn by
//
//	go test ./service/schedule -run CoveragePlot -plot-study -study-years 40
//
// and every run of the tests simulates some of its years again and holds them
// against its table. Another processor may round an exponential otherwise, which
// moves an order or two across a percentile.
func TestCoveragePlot(t *testing.T) {
	if testing.Short() {
		t.Skip("a simulated year takes seconds")
	}
	years := study(t)
	if *plotStudy {
		if err := os.WriteFile(plotPath, []byte(coverageSVG(years)), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	b, err := os.ReadFile(plotPath)
	if err != nil {
		t.Fatal(err)
	}
	_, table, found := strings.Cut(string(b), "year finished p50 p80 p95\n")
	table, _, _ = strings.Cut(table, "</desc>")
	rows := strings.Split(strings.TrimSpace(table), "\n")
	if !found || len(rows) < len(years) {
		t.Fatalf("the plot has %d years, %d were simulated", len(rows), len(years))
	}
	for i, c := range years {
		var n, finished, a, b, d int
		if _, err := fmt.Sscan(rows[i], &n, &finished, &a, &b, &d); err != nil {
			t.Fatal(err)
		}
		for _, k := range [][2]int{{n, i + 1}, {finished, c.Finished}} {
			if k[0] != k[1] {
				t.Errorf("year %d: the plot says %v", i+1, rows[i])
			}
		}
		const few = 3
		for _, k := range [][2]int{{a, c.ByP50}, {b, c.ByP80}, {d, c.ByP95}} {
			if k[0]-k[1] > few || k[1]-k[0] > few {
				t.Errorf("year %d: the plot says %v, the simulation %+v", i+1, rows[i], c)
			}
		}
	}
	var sum schedule.Coverage
	for _, r := range rows {
		var n, finished, a, b, d int
		if _, err := fmt.Sscan(r, &n, &finished, &a, &b, &d); err != nil {
			t.Fatal(err)
		}
		sum.Finished, sum.ByP50, sum.ByP80, sum.ByP95 = sum.Finished+finished, sum.ByP50+a, sum.ByP80+b, sum.ByP95+d
	}
	a, k, d, _ := sum.Shares()
	for _, s := range [][2]float64{{a, 0.5}, {k, 0.8}, {d, 0.95}} {
		if math.Abs(s[0]-s[1]) > 0.03 {
			t.Errorf("over all %d orders of the plot %.3f were finished by p%.0f", sum.Finished, s[0], 100*s[1])
		}
	}
}

// coverageSVG draws a column for each percentile: the band of 3 points about the
// nominal, a dot for each year, a bar for all years together.
func coverageSVG(years []schedule.Coverage) string {
	const left, top, high, column = 50.0, 40.0, 300.0, 150.0
	y := func(share float64) float64 { return top + high*(1-(share-0.3)/0.7) } // 30 % to 100 %
	var sum schedule.Coverage
	var table, marks strings.Builder
	points := func(c schedule.Coverage) [3]float64 { a, b, d, _ := c.Shares(); return [3]float64{a, b, d} }
	for i, c := range years {
		fmt.Fprintf(&table, "%d %d %d %d %d\n", i+1, c.Finished, c.ByP50, c.ByP80, c.ByP95)
		sum.Finished, sum.ByP50, sum.ByP80, sum.ByP95 = sum.Finished+c.Finished, sum.ByP50+c.ByP50, sum.ByP80+c.ByP80, sum.ByP95+c.ByP95
	}
	for k, nominal := range []float64{0.5, 0.8, 0.95} {
		x := left + column*float64(k)
		fmt.Fprintf(&marks, `<rect x="%.1f" y="%.2f" width="%.1f" height="%.2f" fill="#ddd"/><path d="M%.1f %.2fh%.1f" stroke="#000" stroke-dasharray="6 3"/>`+"\n",
			x+10, y(nominal+0.03), column-20, y(nominal-0.03)-y(nominal+0.03), x+10, y(nominal), column-20)
		for i, c := range years {
			fmt.Fprintf(&marks, `<circle cx="%.2f" cy="%.2f" r="2" fill="none" stroke="#000"/>`+"\n", x+20+(column-40)*(float64(i)+0.5)/float64(len(years)), y(points(c)[k]))
		}
		all := points(sum)[k]
		fmt.Fprintf(&marks, `<path d="M%.1f %.2fh%.1f" stroke="#000" stroke-width="2.5"/><text x="%.1f" y="%.1f" text-anchor="middle">p%.0f: %.1f %%</text>`+"\n",
			x+10, y(all), column-20, x+column/2, top+high+20, 100*nominal, 100*all)
	}
	for s := 3; s <= 10; s++ {
		fmt.Fprintf(&marks, `<text x="%.1f" y="%.2f" text-anchor="end">%d %%</text><path d="M%.1f %.2fh4" stroke="#000"/>`+"\n", left-4, y(float64(s)/10)+4, 10*s, left, y(float64(s)/10))
	}
	w, h := left+3*column+10, top+high+50
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" font-family="sans-serif" font-size="12">
<title>Share of orders finished by the percentiles that they were given</title>
<desc>Simulated years of an invented shop; drawn by service/schedule/coverage_plot_test.go. Orders finished, and of them by p50, p80 and p95:
year finished p50 p80 p95
%s</desc>
<rect width="100%%" height="100%%" fill="#fff"/>
<text x="%.1f" y="20" font-size="14">Orders finished by the date given: %d orders, %d simulated years</text>
<path d="M%.1f %.1fv%.1f" stroke="#000"/>
%s<text x="%.1f" y="%.1f">gray: 3 points about the nominal; circles: single years; bar: all years</text>
</svg>
`, w, h, w, h, table.String(), left, sum.Finished, len(years), left, top, high, marks.String(), left, top+high+42)
}
