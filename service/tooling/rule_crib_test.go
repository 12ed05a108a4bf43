package tooling

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"

	"pgregory.net/rapid"
)

// withSheets changes the example's sheets.
func withSheets(length, width float64) shop.Documents {
	d := shop.Example()
	for i := range d.Profile.Sheets {
		d.Profile.Sheets[i].Length, d.Profile.Sheets[i].Width = length, width
	}
	return d
}

// rules asks the rules of a configuration that stands.
func rules(t testing.TB, c *part.Configuration, d shop.Documents) []finding.Finding {
	t.Helper()
	g, _ := part.Resolve(c, laid, limits)
	if g.Stage < part.StageSections {
		t.Fatalf("the hatch stops at stage %d", g.Stage)
	}
	return RuleCrib(c, &g, d, NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile))
}

func named(list []finding.Finding, code, pointer string) *finding.Finding {
	for i := range list {
		if list[i].Code == code && list[i].Pointer == pointer {
			return &list[i]
		}
	}
	return nil
}

// TestFindingsOfTheCrib: each fault is found where it lies, with what was measured
// and the limit, and every mend whose value is known makes it go away; the others
// say which figure to seek.
func TestFindingsOfTheCrib(t *testing.T) {
	plain := shop.Example()
	noFlush := shop.Example()
	noFlush.Profile.Crib = noFlush.Profile.Crib[3:]
	shallow := shop.Example()
	for i := range shallow.Profile.Crib {
		if b := &shallow.Profile.Crib[i]; b.Kind == shop.RoundOver && b.Radius == 6 {
			b.CuttingLength = 30
		}
	}
	for _, k := range []struct {
		name            string
		docs            shop.Documents
		pattern         part.Pattern
		change          func(*part.Configuration)
		code, pointer   string
		measured, limit float64
		exact, sought   []string
	}{
		// 6 + 3.2 = 9.2; the steps and their differences are on a grid of 0.5.
		{"gap off the grid", plain, part.FlushLedge, func(c *part.Configuration) { c.Lid.Gap = 3.2 },
			"tooling.offset_not_in_crib", "/lid/gap", 0.2, 0.05, []string{"/lid/gap", "/lid/gap"}, nil},
		// Four rabbets take off 52 at most.
		{"ledge past four rabbets", plain, part.FlushLedge, func(c *part.Configuration) { c.Receiver.LedgeWidth = 53 },
			"tooling.offset_not_in_crib", "/receiver/ledge_width", 1, 0.25, []string{"/receiver/ledge_width"}, nil},
		{"coaming's lid off the grid", plain, part.RaisedCoaming, nil,
			"tooling.offset_not_in_crib", "/lid/gap", 0.2, 0.05, []string{"/lid/gap", "/lid/gap"}, nil},
		{"sharp corners", plain, part.FlushLedge, func(c *part.Configuration) { c.Outline.CornerRadius = 8 },
			"tooling.corner_too_sharp", "/outline/corner_radius", 4.5, 6, nil, []string{"/outline/corner_radius"}},
		{"odd draft", plain, part.FlushLedge, func(c *part.Configuration) { c.Lid.Draft, c.Lid.Gap = 1.4, 5 },
			"tooling.draft_by_hand", "/lid/draft_deg", 1.4, 1, []string{"/lid/draft_deg", "/lid/draft_deg"}, nil},
		{"odd trunk draft", plain, part.FlushLedge, func(c *part.Configuration) { c.Receiver.TrunkDraft = 4 },
			"tooling.draft_by_hand", "/receiver/trunk_draft_deg", 4, 3, []string{"/receiver/trunk_draft_deg"}, nil},
		{"odd root radius", plain, part.FlushLedge, func(c *part.Configuration) { c.Receiver.RootRadius = 5 },
			"tooling.round_over_by_hand", "/receiver/root_radius", 5, 6, []string{"/receiver/root_radius", "/receiver/root_radius"}, nil},
		{"no room for the bearing", shallow, part.FlushLedge, nil,
			"tooling.round_over_by_hand", "/receiver/root_radius", 22, 30, []string{"/receiver/root_radius", "/receiver/root_radius", "/receiver/recess_depth"}, nil},
		// 620 + 2 50 + 2 75 = 870 on 800 - 2 6 = 788.
		{"small sheets", withSheets(1600, 800), part.FlushLedge, func(c *part.Configuration) { c.Outline.Width = 600 },
			"tooling.panel_too_large", "/outline", 850, 788, nil, []string{"/outline/length", "/outline/width", "/receiver/flange_width"}},
		{"nothing trims", noFlush, part.FlushLedge, nil, "tooling.no_flush_trim", "/pattern", 0, 1, nil, nil},
	} {
		t.Run(k.name, func(t *testing.T) {
			c := hatchOf(k.docs, k.pattern, 620, 480, 90)
			if k.change != nil {
				k.change(&c)
			}
			f := named(rules(t, &c, k.docs), k.code, k.pointer)
			if f == nil {
				t.Fatalf("no %s at %s among %v", k.code, k.pointer, rules(t, &c, k.docs))
			}
			if f.Severity != finding.Caution || f.Source == "" {
				t.Errorf("severity %v, source %q", f.Severity, f.Source)
			}
			if math.Abs(f.Measured.Magnitude-k.measured) > 1e-9 || math.Abs(f.Limit.Magnitude-k.limit) > 1e-9 || f.Measured.Unit != f.Limit.Unit {
				t.Errorf("measured %v, limit %v; wanted %v, %v", f.Measured, f.Limit, k.measured, k.limit)
			}
			if text := f.Message(quantity.Metric); strings.Contains(text, "%!") {
				t.Errorf("message %q", text)
			}
			var exact, sought []string
			for _, m := range f.Mends {
				if m.Sought {
					sought = append(sought, m.Pointer)
					continue
				}
				exact = append(exact, m.Pointer)
				again := c.Clone()
				// Rounded to the wire's step, as whoever solves mends does.
				if err := again.SetNumber(m.Pointer, quantity.Round(m.Value.Magnitude, 3, m.Toward)); err != nil {
					t.Fatal(err)
				}
				if left := named(rules(t, &again, k.docs), k.code, k.pointer); left != nil {
					t.Errorf("%s = %v does not mend it: %s", m.Pointer, m.Value, left.Message(quantity.Metric))
				}
			}
			if fmt.Sprint(exact) != fmt.Sprint(k.exact) || fmt.Sprint(sought) != fmt.Sprint(k.sought) {
				t.Errorf("mends %v and to be sought %v; wanted %v and %v", exact, sought, k.exact, k.sought)
			}
		})
	}
}

// TestSuggestedBearing: the bearing that the finding names, put in the crib, makes
// the offset.
func TestSuggestedBearing(t *testing.T) {
	d := shop.Example()
	c := NewCrib(d.Profile)
	for _, want := range []float64{4.3, 9.2, 13.7, 20.1, 33.33} {
		s, ok := c.suggest(want)
		if !ok {
			t.Fatalf("nothing suggested for %v", want)
		}
		again := shop.Example()
		for i := range again.Profile.Crib {
			if b := &again.Profile.Crib[i]; b.Key == s.bit {
				b.Bearings = append(b.Bearings, s.bearing)
			}
		}
		if s.bearing < leastBearing || !NewCrib(again.Profile).makes(want, 0) {
			t.Errorf("a bearing of %v on %q does not make %v", s.bearing, s.bit, want)
		}
	}
}

// TestRulesAgreeWithTheWorkshop: what the rules say by hand is by hand in the
// workshop, and nothing else is.
func TestRulesAgreeWithTheWorkshop(t *testing.T) {
	small := withSheets(1600, 1000)
	s, crib := NewStacker(small.Profile.Sheets, DeepestStack), NewCrib(small.Profile)
	rapid.Check(t, func(t *rapid.T) {
		c, g, w := drawn(t, small, s, crib, func(c *part.Configuration) {
			c.Receiver.RootRadius = rapid.SampledFrom([]float64{5, 6, 9.5}).Draw(t, "root")
		})
		list := RuleCrib(&c, &g, small, s, crib)
		has := map[string]bool{}
		for _, f := range list {
			has[f.Code] = true
			has[f.Code+f.Pointer] = true
		}
		masters, bevels, rounds, joined := 0, map[string]bool{}, false, false
		for _, step := range w.Steps {
			switch step.Operation {
			case LayOut:
				masters++
			case Bevel:
				bevels[step.To] = true
			case RoundEdge:
				rounds = rounds || step.ByHand && strings.HasPrefix(step.To, "receiver")
			}
		}
		for _, p := range w.Panels {
			joined = joined || p.Joined > 1
		}
		if masters != w.Masters {
			t.Fatalf("%d masters laid out, %d counted", masters, w.Masters)
		}
		if extra := masters > 1; extra && !g.TrunkRounded && !has["tooling.offset_not_in_crib"] && !has["tooling.corner_too_sharp"] {
			t.Fatalf("%d masters, and no finding says why", masters)
		} else if !extra && has["tooling.offset_not_in_crib"] {
			t.Fatal("one master makes all, yet a finding says it cannot")
		}
		if got := has["tooling.draft_by_hand/lid/draft_deg"]; got != bevels["lid cavity board"] {
			t.Fatalf("lid leaned by hand %v, found %v", bevels["lid cavity board"], got)
		}
		if got := has["tooling.draft_by_hand/receiver/trunk_draft_deg"]; got != bevels["receiver block 2"] {
			t.Fatalf("trunk leaned by hand %v, found %v", bevels["receiver block 2"], got)
		}
		receiver := bevels["receiver block 1"] || bevels["receiver gutter ring"] || bevels["receiver cavity board"]
		if got := has["tooling.draft_by_hand/receiver/draft_deg"]; got != receiver {
			t.Fatalf("receiver leaned by hand %v, found %v", receiver, got)
		}
		if has["tooling.round_over_by_hand"] != rounds {
			t.Fatalf("receiver rounded by hand %v, found %v", rounds, has["tooling.round_over_by_hand"])
		}
		if has["tooling.panel_too_large"] != joined {
			t.Fatalf("boards joined %v, found %v", joined, has["tooling.panel_too_large"])
		}
	})
}

func BenchmarkRuleCrib(b *testing.B) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	for _, p := range part.Patterns {
		c := hatchOf(d, p, 620, 480, 90)
		g := stand(b, &c)
		b.Run(string(p), func(b *testing.B) {
			b.ReportAllocs()
			n := 0
			for b.Loop() {
				n += len(RuleCrib(&c, &g, d, s, crib))
			}
			b.ReportMetric(float64(n)/float64(b.N), "findings")
		})
	}
}
