package routing_test

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// hatch is two parts, each of a mold with everything to build.
func hatch(quantity int) routing.Work {
	return routing.Work{
		Parts: []routing.Part{
			{Name: "receiver", Templates: 2, Panels: 5, Outlines: 3, Layers: 5, FilletLength: 3.4, FaceArea: 0.9, Pieces: 3, StageMasses: []float64{1.4, 1.6}, EdgeLength: 3.1},
			{Name: "lid", Templates: 1, Panels: 3, Outlines: 1, Layers: 3, FilletLength: 1.6, FaceArea: 0.4, Pieces: 4, StageMasses: []float64{1.1}, EdgeLength: 1.7},
		},
		Templates: 2, Quantity: quantity, FittingHours: 1.5, CureHours: 16, SealCoats: 3, WaxCoats: 4, ReleaseCoats: 2,
	}
}

func built(t interface {
	Helper()
	Fatal(...any)
}, w routing.Work) []routing.Step {
	t.Helper()
	steps, err := routing.Build(w, shop.Example().Profile)
	if err != nil {
		t.Fatal(err)
	}
	return steps
}

func count(steps []routing.Step, kind, part string) int {
	n := 0
	for _, s := range steps {
		if s.Kind == kind && s.Part == part {
			n++
		}
	}
	return n
}

// The graph grows with what is built; counts by hand.
func TestGraphGrows(t *testing.T) {
	steps := built(t, hatch(2))
	for _, c := range []struct {
		kind, part string
		want       int
	}{
		{"make_template", "", 1}, {"make_template", "receiver", 1}, {"make_template", "lid", 1}, {"cut_panels", "receiver", 1}, {"seal_coat", "lid", 3},
		{"wax_coat", "lid", 4 + 1}, {"release_coat", "lid", 2 * 2}, {"laminate", "receiver", 2 * 2}, {"laminate", "lid", 2},
		{"demold", "lid", 2}, {"fit_check", "", 2}, {"fit_hardware", "", 2}, {"inspect", "", 2}, {"pack", "", 2},
	} {
		if got := count(steps, c.kind, c.part); got != c.want {
			t.Errorf("%d steps %s of %q, want %d", got, c.kind, c.part, c.want)
		}
	}
	byKey := map[string]routing.Step{}
	for _, s := range steps {
		byKey[s.Key] = s
	}
	if got := byKey["hatch 1 fit check"].After; !slices.Equal(got, []string{"receiver 1 trimming", "lid 1 trimming"}) {
		t.Errorf("the fit check waits for %q", got)
	}
	// By the example's rates: 0.25 h and half an hour a template.
	if s := byKey["mold templates"]; s.Driver != 2 || s.Hours != 1.25 || !s.Mold || s.Operation.Mold != "" {
		t.Errorf("shared templates: %+v", s)
	}
	if got := byKey["lid mold templates"].After; !slices.Equal(got, []string{"mold templates"}) {
		t.Errorf("the lid's templates wait for %q", got)
	}
	if got := byKey["lid mold outlines"].After; !slices.Equal(got, []string{"lid mold panels", "lid mold templates"}) {
		t.Errorf("the lid's outlines wait for %q", got)
	}
	if got := byKey["hatch 1 packing"].After; !slices.Equal(got, []string{"hatch 1 inspection"}) {
		t.Errorf("packing waits for %q", got)
	}
	if got := byKey["lid 2 wax coat 1"].After; !slices.Equal(got, []string{"lid 1 demolding"}) {
		t.Errorf("the second pull waits for %q", got)
	}
	if d := byKey["lid 1 demolding"]; d.Crew != 2 || d.Risk != shop.StandardFirstPull || d.RiskWait < 16*time.Hour {
		t.Errorf("first demolding: crew %d, risk %v of %v and %v", d.Crew, d.Risk, d.RiskLabor, d.RiskWait)
	}
	if d := byKey["lid 2 demolding"]; d.Risk != 0 {
		t.Errorf("the second pull has a risk of %v", d.Risk)
	}
}

func TestMissingRateIsNamed(t *testing.T) {
	p := *shop.Example().Profile
	p.Rates = map[string]shop.Rate{}
	if _, err := routing.Build(hatch(1), &p); err == nil || !strings.Contains(err.Error(), "make_template") {
		t.Errorf("error %v", err)
	}
}

// With both molds registered nothing of building is left, and the work equals a
// graph built by hand for molds that are there.
func TestReuse(t *testing.T) {
	steps := built(t, hatch(2))
	got := routing.Reuse(steps, map[string]string{"receiver": "a", "lid": "b"})
	for _, s := range got {
		if s.Mold || s.Risk != 0 {
			t.Errorf("%q is left, mold building %v, risk %v", s.Key, s.Mold, s.Risk)
		}
		if s.Operation.Mold != "" && s.Registered == "" {
			t.Errorf("%q occupies %q, not a mold of the register", s.Key, s.Operation.Mold)
		}
	}
	if n := count(got, "wax_coat", "lid"); n != 2 {
		t.Errorf("%d coats of wax for two pulls, want 2", n)
	}
	for _, s := range got {
		if s.Key == "lid 1 wax coat 1" && len(s.After) != 0 {
			t.Errorf("the first wax waits for %q", s.After)
		}
		if s.Key == "lid 1 release film 1" && !slices.Equal(s.After, []string{"lid 1 wax coat 1"}) {
			t.Errorf("the first film waits for %q", s.After)
		}
	}
	// With one of them the templates that both are cut from are still made.
	some := routing.Reuse(steps, map[string]string{"receiver": "a"})
	if count(some, "make_template", "") != 1 || count(some, "make_template", "receiver") != 0 || count(some, "make_template", "lid") != 1 {
		t.Error("the templates left are not those of the lid's mold")
	}
	if again := built(t, hatch(2)); !reflect.DeepEqual(steps, again) {
		t.Error("the steps given were changed")
	}
}

// A reused graph is one that can be scheduled, is no longer than before where
// nobody waits for a post (with queues less work can take longer: R. L. Graham,
// Bounds on multiprocessing timing anomalies, 1969), and keeps every step that
// builds no mold.
func TestReuseProperty(t *testing.T) {
	centers, _, err := routing.Centers(shop.Example().Profile)
	if err != nil {
		t.Fatal(err)
	}
	for i := range centers {
		centers[i].Posts = 50
	}
	start := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	rapid.Check(t, func(t *rapid.T) {
		w := hatch(rapid.IntRange(1, 4).Draw(t, "quantity"))
		w.WaxCoats, w.SealCoats, w.ReleaseCoats = rapid.IntRange(1, 6).Draw(t, "wax"), rapid.IntRange(0, 4).Draw(t, "seal"), rapid.IntRange(0, 3).Draw(t, "film")
		registered := map[string]string{}
		for _, p := range []string{"receiver", "lid"} {
			if rapid.Bool().Draw(t, p) {
				registered[p] = p
			}
		}
		steps := built(t, w)
		got := routing.Reuse(steps, registered)
		kept := 0
		for _, s := range steps {
			if _, gone := registered[s.Part]; !gone && !(s.Mold && s.Part == "" && len(registered) == 2) || gone && (!s.Mold && s.Kind != "wax_coat") {
				kept++
			}
		}
		if len(got) < kept {
			t.Fatalf("%d steps, at least %d should be left", len(got), kept)
		}
		before, err := schedule.Serial([]schedule.Job{routing.Job("j", steps)}, centers, start, nil)
		if err != nil {
			t.Fatal(err)
		}
		job := routing.Job("j", got)
		after, err := schedule.Serial([]schedule.Job{job}, centers, start, nil)
		if err != nil {
			t.Fatal(err)
		}
		if err := schedule.Verify([]schedule.Job{job}, centers, after); err != nil {
			t.Fatal(err)
		}
		if len(registered) > 0 && after.Jobs[0].End.After(before.Jobs[0].End) {
			t.Fatalf("with molds that are there it takes until %v, without until %v", after.Jobs[0].End, before.Jobs[0].End)
		}
	})
}

// Two jobs that build molds of the same name do not share them; two that use one
// of the register wait for each other.
func TestMoldsOfJobs(t *testing.T) {
	centers, _, err := routing.Centers(shop.Example().Profile)
	if err != nil {
		t.Fatal(err)
	}
	steps := built(t, hatch(1))
	reused := routing.Reuse(steps, map[string]string{"receiver": "a", "lid": "b"})
	start := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	waits := func(steps []routing.Step) bool {
		s, err := schedule.Serial([]schedule.Job{routing.Job("1", steps), routing.Job("2", steps)}, centers, start, nil)
		if err != nil {
			t.Fatal(err)
		}
		return slices.ContainsFunc(s.Placements, func(p schedule.Placement) bool { return p.Cause == schedule.CauseMold })
	}
	if waits(steps) {
		t.Error("jobs with molds of their own wait for each other's")
	}
	if !waits(reused) {
		t.Error("two jobs are in one mold at a time")
	}
}

func TestAwait(t *testing.T) {
	docs := shop.Example()
	steps := built(t, hatch(1))
	day := func(n int) time.Time { return time.Date(2027, 3, n, 12, 0, 0, 0, time.UTC) }
	got := routing.Await(steps, []routing.Arrival{
		{Material: "gelcoat white", At: day(9)}, {Material: "peroxide catalyst", At: day(5)}, {Material: "pvc-100-12", Part: "lid", At: day(7)}, {Material: "seal strip", At: day(4)},
	}, routing.Consumers(docs))
	want := map[string]time.Time{"receiver 1 gelcoat": day(9), "lid 1 gelcoat": day(9), "lid 1 stage 1": day(7), "hatch 1 hardware": day(4)}
	for _, s := range got {
		at, waits := want[s.Key]
		if waits != (s.MaterialReady != nil) || waits && !s.MaterialReady.Equal(at) {
			t.Errorf("%q waits for material until %v, want %v", s.Key, s.MaterialReady, at)
		}
	}
	// Templates and panels are sawn from the same sheets.
	for _, s := range routing.Await(steps, []routing.Arrival{{Material: docs.Profile.Sheets[0].Key, At: day(3)}}, routing.Consumers(docs)) {
		if waits := s.Kind == "cut_panels" || s.Kind == "make_template"; waits != (s.MaterialReady != nil) {
			t.Errorf("%q waits for sheets until %v", s.Key, s.MaterialReady)
		}
	}
	if !reflect.DeepEqual(steps, built(t, hatch(1))) {
		t.Error("the steps given were changed")
	}
}

// Every material of the example shop is needed by a kind of operation that it has
// a rate for.
func TestConsumersAreRated(t *testing.T) {
	d := shop.Example()
	for material, kind := range routing.Consumers(d) {
		if _, ok := d.Profile.Rates[kind]; !ok {
			t.Errorf("%q is needed by %q, which has no rate", material, kind)
		}
	}
	for key := range d.Materials.Purchasing {
		if _, ok := d.Prices.Prices[key]; !ok {
			t.Errorf("%q can be bought but has no price", key)
		}
	}
}

// The share of first pulls that stick in many scenarios is what was asked for,
// within three standard errors, and the mean delay what the rework takes.
func TestFirstPullRiskInScenarios(t *testing.T) {
	docs := shop.Example()
	centers, _, err := routing.Centers(docs.Profile)
	if err != nil {
		t.Fatal(err)
	}
	w := hatch(1)
	w.Parts = w.Parts[1:]
	steps := built(t, w)
	const n = 4096
	start := time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC)
	// Nothing scatters but the risk.
	p, err := schedule.NewProfiles(schedule.Setup{Centers: centers, Origin: start, Model: schedule.Model{Default: schedule.Spread{Factor: 1}}, Scenarios: n, Seed: [32]byte{7}})
	if err != nil {
		t.Fatal(err)
	}
	l, err := p.Place(routing.Job("j", steps), start, [32]byte{9})
	if err != nil {
		t.Fatal(err)
	}
	late := 0
	for _, f := range l.Finishes {
		if f.After(l.Finishes[0]) {
			late++
		}
	}
	share, se := float64(late)/n, math.Sqrt(0.14*0.86/n)
	if math.Abs(share-0.14) > 3*se {
		t.Errorf("%.4f of the first pulls stuck, want 0.14 within %.4f", share, 3*se)
	}
}

func TestBadShopData(t *testing.T) {
	p := *shop.Example().Profile
	p.Rates = map[string]shop.Rate{}
	for k, r := range shop.Example().Profile.Rates {
		r.Each = math.Inf(1)
		p.Rates[k] = r
	}
	if _, err := routing.Build(hatch(1), &p); !errors.Is(err, schedule.ErrOutOfRange) {
		t.Errorf("endless hours: %v", err)
	}
}

func ExampleReuse() {
	steps, err := routing.Build(routing.Work{
		Parts:    []routing.Part{{Name: "lid", Panels: 2, Outlines: 1, Layers: 2, FaceArea: 0.4, Pieces: 2, StageMasses: []float64{1}, EdgeLength: 1.7}},
		Quantity: 1, CureHours: 16, SealCoats: 1, WaxCoats: 2, ReleaseCoats: 1,
	}, shop.Example().Profile)
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range routing.Reuse(steps, map[string]string{"lid": "7"})[:3] {
		fmt.Println(s.Key, s.After)
	}
	// Output:
	// lid 1 wax coat 1 []
	// lid 1 release film 1 [lid 1 wax coat 1]
	// lid 1 glass cutting []
}

// Several molds of a part, by hand: two of each are built from one set of templates
// and pulled in turn; each is waxed in full, and may stick, on its own first pull.
func TestMoldsInTurn(t *testing.T) {
	w := hatch(5)
	w.Molds = 2
	steps := built(t, w)
	byKey := map[string]routing.Step{}
	for _, s := range steps {
		byKey[s.Key] = s
	}
	for _, c := range []struct {
		kind, part string
		want       int
	}{
		{"make_template", "", 1}, {"make_template", "lid", 1}, {"cut_panels", "lid", 2}, {"glue_block", "receiver", 2}, {"seal_coat", "lid", 2 * 3},
		{"wax_coat", "lid", 2*4 + 3}, {"demold", "lid", 5}, {"fit_check", "", 5},
	} {
		if got := count(steps, c.kind, c.part); got != c.want {
			t.Errorf("%d steps %s of %q, want %d", got, c.kind, c.part, c.want)
		}
	}
	for key, after := range map[string][]string{
		"lid mold 2 outlines": {"lid mold 2 panels", "lid mold templates"}, "lid 1 wax coat 1": {"lid mold sealer coat 3"}, "lid 2 wax coat 1": {"lid mold 2 sealer coat 3"},
		"lid 3 wax coat 1": {"lid 1 demolding"}, "lid 4 wax coat 1": {"lid 2 demolding"}, "lid 5 wax coat 1": {"lid 3 demolding"},
	} {
		if got := byKey[key].After; !slices.Equal(got, after) {
			t.Errorf("%q waits for %q, want %q", key, got, after)
		}
	}
	for n, mold := range []string{"lid mold", "lid mold 2", "lid mold", "lid mold 2", "lid mold"} {
		if got := byKey[fmt.Sprintf("lid %d gelcoat", n+1)].Operation.Mold; got != mold {
			t.Errorf("pull %d is in %q, want %q", n+1, got, mold)
		}
		if risky := byKey[fmt.Sprintf("lid %d demolding", n+1)].Risk > 0; risky != (n < 2) {
			t.Errorf("pull %d may stick: %v", n+1, risky)
		}
	}
	// No more molds than pulls; two of one hatch are one.
	w = hatch(1)
	w.Molds = 2
	if got := built(t, w); !reflect.DeepEqual(got, built(t, hatch(1))) {
		t.Errorf("%d steps for one hatch of two molds", len(got))
	}
}
