package derivation

import (
	"strings"
	"testing"

	"hatchwright/service/finding"
	"hatchwright/service/shop"
)

// TestUnusualDoseIsACaution mixes products by sheets that go from 1 to 4 % (a supplier's
// published temperature chart has 3 and 4 % of catalyst for the cold): within what is usual nothing
// is said, outside it a caution stands in the derivation and goes with the mixes. Usual is
// 1.0 to 2.5 % of laminating resin (a resin's data sheet), 1.2 to 3 % of gelcoat (a
// supplier's application page), 1 to 3 % of paste hardener (published for body filler).
//
// The resin's dose by hand, for 35 min at 21 °C between the rows of 20 and 22 °C: the
// second column gels in sqrt(45 × 37) = 40.8 min, the third in sqrt(36 × 29) = 32.3, so
// ln(40.8/35)/ln(40.8/32.3) = 0.66 of the way: 3.50 between 3.3 and 3.6, 0.67 between 0.6
// and 0.7, each to the tenth that is measured out.
func TestUnusualDoseIsACaution(t *testing.T) {
	profile, materials, prices := shop.ExampleBodies()
	const resin = `"percents": [1.0, 1.5, 2.0, 2.5]`
	const gelcoat = `"percents": [1.2, 1.8, 2.4, 3.0]`
	for _, c := range []struct {
		name     string
		old      []string
		code     string
		measured float64
	}{
		{"the example's products", nil, "", 0},
		{"resin at 3 % and more", []string{resin, `"percents": [3.0, 3.3, 3.6, 4.0]`, `"least_percent": 1.0, "most_percent": 2.5`, `"least_percent": 1.0, "most_percent": 4`}, "laminate.catalyst_unusual", 3.5},
		{"resin under 1 %", []string{resin, `"percents": [0.5, 0.6, 0.7, 0.8]`, `"least_percent": 1.0, "most_percent": 2.5`, `"least_percent": 0.5, "most_percent": 2.5`}, "laminate.catalyst_unusual", 0.7},
		{"gelcoat over 3 %", []string{gelcoat, `"percents": [3.2, 3.4, 3.6, 4.0]`, `"least_percent": 1.2, "most_percent": 3.0`, `"least_percent": 1.2, "most_percent": 4`}, "gelcoat.catalyst_unusual", 0},
		{"filler at 4 %", []string{`"hardener_percent": 2, "hardener_least": 1, "hardener_most": 3`, `"hardener_percent": 4, "hardener_least": 1, "hardener_most": 4`}, "mold.filler.hardener_unusual", 4},
	} {
		t.Run(c.name, func(t *testing.T) {
			body := string(materials)
			for i := 0; i+1 < len(c.old); i += 2 {
				if !strings.Contains(body, c.old[i]) {
					t.Fatalf("the example has no %q", c.old[i])
				}
				body = strings.Replace(body, c.old[i], c.old[i+1], 1)
			}
			d, err := shop.Decode(profile, []byte(body), prices, "1", "1")
			if err != nil {
				t.Fatal(err)
			}
			e, err := New(d)
			if err != nil {
				t.Fatal(err)
			}
			r, err := e.Derive(ask(t, map[string]any{}), monday)
			if err != nil {
				t.Fatal(err)
			}
			_, more, err := e.Mixes(&r, d.Profile.ShopTemperature)
			if err != nil {
				t.Fatal(err)
			}
			for what, list := range map[string][]finding.Finding{"derivation": r.Findings, "mixes": more} {
				var got *finding.Finding
				for i := range list {
					if strings.HasSuffix(list[i].Code, "_unusual") {
						got = &list[i]
					}
				}
				switch {
				case c.code == "" && got != nil:
					t.Errorf("%s: %s of a usual dose", what, got.Code)
				case c.code == "":
				case got == nil:
					t.Errorf("%s: no finding, want %s", what, c.code)
				case got.Code != c.code:
					t.Errorf("%s: %s, want %s", what, got.Code, c.code)
				case got.Severity != finding.Caution:
					t.Errorf("%s: severity %v, want a caution", what, got.Severity)
				case c.measured > 0 && got.Measured.Magnitude != c.measured:
					t.Errorf("%s: measured %v, want %v %%", what, got.Measured, c.measured)
				}
			}
		})
	}
}
