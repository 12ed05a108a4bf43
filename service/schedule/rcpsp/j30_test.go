package rcpsp_test

import (
	"bufio"
	"encoding/csv"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"hatchwright/service/schedule/rcpsp"
)

const reference = "../../../testdata/reference/scheduling-j30"

type instance struct {
	name    string
	project *rcpsp.Project
	optimum int
}

// load reads the instances and the optimal makespans of PSPLIB J30: R. Kolisch,
// A. Sprecher, European Journal of Operational Research 96 (1997) 205-216.
func load(t testing.TB) []instance {
	t.Helper()
	f, err := os.Open(filepath.Join(reference, "optimum.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []instance
	for _, row := range rows[1:] {
		optimum, err := strconv.Atoi(row[1])
		if err != nil {
			t.Fatal(err)
		}
		p, err := parse(filepath.Join(reference, row[0]))
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, instance{row[0], p, optimum})
	}
	return out
}

// parse reads the single-mode .sm form; activity numbers become 0-based.
func parse(path string) (*rcpsp.Project, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	p := &rcpsp.Project{}
	section := ""
	for sc := bufio.NewScanner(f); sc.Scan(); {
		line := sc.Text()
		if title := strings.TrimSuffix(strings.TrimSpace(line), ":"); title == "PRECEDENCE RELATIONS" || title == "REQUESTS/DURATIONS" || title == "RESOURCEAVAILABILITIES" {
			section = title
			continue
		}
		var v []int
		for _, f := range strings.Fields(line) {
			x, err := strconv.Atoi(f)
			if err != nil {
				v = nil
				break
			}
			v = append(v, x)
		}
		if len(v) == 0 {
			continue
		}
		switch section {
		case "PRECEDENCE RELATIONS":
			if len(v) != 3+v[2] {
				return nil, fmt.Errorf("%s: %q", path, line)
			}
			var s []int
			for _, k := range v[3:] {
				s = append(s, k-1)
			}
			p.Successors = append(p.Successors, s)
		case "REQUESTS/DURATIONS":
			p.Duration = append(p.Duration, v[2])
			p.Demand = append(p.Demand, v[3:])
		case "RESOURCEAVAILABILITIES":
			p.Capacity = v
		}
	}
	return p, nil
}

// budget and the gap it must reach, percent above the optimum on average.
const (
	budget  = 1000
	gapGoal = 1.0
	gapAim  = 0.5
)

// The table of seed 1, then the averages of other seeds: the figure is not one
// lucky draw. Run with -v for the table; its times are for reading only.
func TestJ30(t *testing.T) {
	var table strings.Builder
	sum, optimal, proven, generated, worst := 0.0, 0, 0, 0, 0.0
	instances := load(t)
	if len(instances) != 144 {
		t.Fatalf("%d instances", len(instances))
	}
	var spent time.Duration
	for _, in := range instances {
		begun := time.Now()
		r, err := rcpsp.Solve(in.project, budget, 1)
		took := time.Since(begun)
		spent += took
		if err != nil {
			t.Fatalf("%s: %v", in.name, err)
		}
		if err := rcpsp.Check(in.project, r.Start); err != nil {
			t.Errorf("%s: %v", in.name, err)
		}
		end := 0
		for i, s := range r.Start {
			end = max(end, s+in.project.Duration[i])
		}
		if end != r.Makespan || r.Makespan < in.optimum || r.LowerBound > in.optimum || r.Generated > budget {
			t.Errorf("%s: makespan %d (ends %d), optimum %d, bound %d, %d generated", in.name, r.Makespan, end, in.optimum, r.LowerBound, r.Generated)
		}
		gap := 100 * float64(r.Makespan-in.optimum) / float64(in.optimum)
		sum, worst, generated = sum+gap, max(worst, gap), generated+r.Generated
		if gap == 0 {
			optimal++
		}
		if r.Status == rcpsp.Optimal {
			proven++
		}
		fmt.Fprintf(&table, "%-11s %4d %4d %4d %5.2f %5d %v\n", in.name, in.optimum, r.Makespan, r.LowerBound, gap, r.Generated, took.Round(time.Microsecond))
	}
	t.Logf("\ninstance    opt  found bound gap%%  generated time\n%saverage gap %.3f %%, worst %.2f %%, %d of %d optimal (%d proven), %d schedules, %v",
		table.String(), sum/float64(len(instances)), worst, optimal, len(instances), proven, generated, spent)
	if g := sum / float64(len(instances)); g > gapGoal {
		t.Errorf("average gap %.3f %%, goal %.1f %%, aim %.1f %%", g, gapGoal, gapAim)
	}
	for seed := uint64(2); seed <= 3; seed++ {
		sum := 0.0
		for _, in := range instances {
			r, err := rcpsp.Solve(in.project, budget, seed)
			if err != nil {
				t.Fatal(err)
			}
			if err := rcpsp.Check(in.project, r.Start); err != nil {
				t.Errorf("%s: %v", in.name, err)
			}
			sum += 100 * float64(r.Makespan-in.optimum) / float64(in.optimum)
		}
		g := sum / float64(len(instances))
		t.Logf("seed %d: average gap %.3f %%", seed, g)
		if g > gapGoal {
			t.Errorf("seed %d: average gap %.3f %%, goal %.1f %%", seed, g, gapGoal)
		}
	}
}

// One pass by the latest-finish rule, as a floor to compare with: literature
// gives about 5 % for single-pass rules on J30 (from memory).
func TestJ30SinglePass(t *testing.T) {
	sum := 0.0
	instances := load(t)
	for _, in := range instances {
		r, err := rcpsp.Solve(in.project, 1, 1)
		if err != nil {
			t.Fatal(err)
		}
		if r.Generated != 1 {
			t.Fatalf("%s: %d generated", in.name, r.Generated)
		}
		if err := rcpsp.Check(in.project, r.Start); err != nil {
			t.Errorf("%s: %v", in.name, err)
		}
		sum += 100 * float64(r.Makespan-in.optimum) / float64(in.optimum)
	}
	g := sum / float64(len(instances))
	t.Logf("single pass: average gap %.2f %%", g)
	if g < 2 || g > 8 {
		t.Errorf("single-pass gap %.2f %% is far from the 5 %% of the literature", g)
	}
}

func BenchmarkSolveJ30(b *testing.B) {
	instances := load(b)
	total := 0
	for b.Loop() {
		for _, in := range instances {
			r, err := rcpsp.Solve(in.project, budget, 1)
			if err != nil {
				b.Fatal(err)
			}
			total += r.Makespan
		}
	}
	if total == 0 {
		b.Fatal("nothing solved")
	}
}
