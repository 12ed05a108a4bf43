package tooling

import (
	"math/rand/v2"
	"strings"
	"testing"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

// TestJointIsThatOfTheSteps: what stands between recess and lid, read from the plan's groups, is what the router steps
// themselves say: from each board back through what each template is made from, to the drawing.
func TestJointIsThatOfTheSteps(t *testing.T) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	rng := rand.New(rand.NewPCG(3, 9))
	apart, together := 0, 0
	for range 300 {
		pattern := []part.Pattern{part.FlushLedge, part.FlushGutter, part.RaisedCoaming}[rng.IntN(3)]
		c := hatchOf(d, pattern, 400+400*rng.Float64(), 360+300*rng.Float64(), 20+60*rng.Float64(), func(c *part.Configuration) {
			c.Lid.Gap = 3 + 2*rng.Float64()
			if rng.IntN(2) == 0 {
				c.Lid.Gap = 4
			}
			c.Receiver.Draft, c.Lid.Draft = []float64{0, 1, 1.3}[rng.IntN(3)], []float64{0, 1, 1.3}[rng.IntN(3)]
		})
		g, _ := part.Resolve(&c, laid, limits)
		if g.Stage != part.StageWhole || g.Measure(&c) != nil {
			continue
		}
		w, err := Build(&c, g, d, s, crib)
		if err != nil {
			continue
		}
		seat, sign := "receiver block 1", 1.0
		if pattern == part.RaisedCoaming {
			seat, sign = "receiver cavity board", -1
		}
		made := map[string]string{}
		for _, k := range w.Templates {
			made[k.Name] = k.MadeFrom
		}
		back := func(board string) (templates []string, passes int, miss float64) {
			from := ""
			for _, k := range w.Steps {
				if k.To == board && (k.Operation == Copy || k.Operation == FollowOutside) {
					from, passes, miss = k.From, k.Passes, k.Miss
				}
			}
			for ; from != "" && from != Drawn; from = made[from] {
				templates = append([]string{from}, templates...)
			}
			return templates, passes, miss
		}
		recess, passes, missed := back(seat)
		lid, more, lidMissed := back("lid cavity board")
		passes += more
		common := 0
		for common < len(recess) && common < len(lid) && recess[common] == lid[common] {
			common++
		}
		for _, chain := range [][]string{recess, lid} {
			for _, name := range chain[max(common, 1):] {
				passes += 2
				if strings.HasSuffix(name, " hole template") {
					passes-- // a rabbet is trimmed, a hole is not
				}
			}
		}
		got := map[string]int{}
		for _, k := range w.Tolerance.Contributors {
			got[k.Name] = k.Count
		}
		if got["template copies"] != passes {
			t.Errorf("%s: %d passes between recess and lid, the steps have %d: %v, %v", pattern, got["template copies"], passes, recess, lid)
		}
		if (got["recess master laid out"] == 1) != (common == 0) || (got["lid master laid out"] == 1) != (common == 0) {
			t.Errorf("%s: masters counted %v, in common %d", pattern, got, common)
		}
		shrunk := c.Lid.Gap * (w.Tolerance.MoldScale*(1-w.Tolerance.Shrinkage) - 1)
		if want := sign*(missed-lidMissed) + shrunk; !close(w.Tolerance.Shift, want) {
			t.Errorf("%s: shifted by %v, the steps say %v", pattern, w.Tolerance.Shift, want)
		}
		if common == 0 {
			apart++
		} else {
			together++
		}
	}
	t.Logf("%d from masters of their own, %d from one", apart, together)
	if apart < 20 || together < 20 {
		t.Errorf("%d from masters of their own and %d from one, want 20 of each", apart, together)
	}
}

func close(a, b float64) bool { return a-b < 1e-9 && b-a < 1e-9 }
