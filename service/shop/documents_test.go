package shop

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"
)

// TestExampleHasSources: the example decodes, and every row of material says of each
// group of its figures where they are from, if only that the shop set them.
func TestExampleHasSources(t *testing.T) {
	d := Example()
	m := d.Materials
	check := func(kind, key, source string, figures ...string) {
		if source == "" {
			t.Errorf("%s %q names no source", kind, key)
		}
		if source == "as white" || strings.HasPrefix(source, "shop setting of an invented product") {
			return // of all its figures
		}
		for _, f := range figures {
			if !strings.Contains(source, f) {
				t.Errorf("%s %q does not say where its %s is from: %s", kind, key, f, source)
			}
		}
	}
	for _, r := range m.Reinforcements {
		check("reinforcement", r.Key, r.Source, "areal mass: ", "glass fraction: ", "roll width: ")
	}
	for _, r := range m.Resins {
		check("resin", r.Key, r.Source, "densities", "catalyst range: ", "gel and cure tables: ", "exotherm limit", "shrinkage: ", "least temperature: ", "target gel")
	}
	for _, r := range m.Gelcoats {
		check("gelcoat", r.Key, r.Source, "density and film: ", "catalyst range: ", "gel table: ", "transfer: ", "least temperature: ", "target gel: ")
	}
	for _, r := range m.Cores {
		check("core", r.Key, r.Source, "properties", "density and thickness: ", "bedding: ")
	}
	for _, r := range m.Fillers {
		check("filler", r.Key, r.Source, "hardener: ", "densities and working times: ", "least temperature: ")
	}
	for _, r := range m.Coatings {
		check("coating", r.Key, r.Source, "coats: ", "cover: ")
	}
	for _, r := range m.Hardware {
		check("fitting", r.Key, r.Source)
	}
	for _, r := range d.Profile.Sheets {
		check("sheet", r.Key, r.Source, "density: ", "thickness and size: ")
	}
}

// TestRefusals spoils one figure of the example at a time: each is refused by
// name.
func TestRefusals(t *testing.T) {
	profile, materials, prices := ExampleBodies()
	for _, c := range []struct {
		document  string
		old, new  string
		complains string
	}{
		{"profile", `"wet_out_rate": 4.5`, `"wet_out_rate": 0`, "wet_out_rate"},
		{"profile", `"transfer": "spray"`, `"transfer": "roller"`, "transfer"},
		{"profile", `"allowable_share": 0.5`, `"allowable_share": 1.5`, "allowable"},
		{"profile", `"force_per_mm": 0.25, "compression": 0.4`, `"force_per_mm": 0.25, "compression": 0`, "seal"},
		{"profile", `"gust_speed": 17.1`, `"gust_speed": 170`, "gust_speed"},
		{"profile", `"angle_deg": 100`, `"angle_deg": 200`, "angle_deg"},
		{"profile", `"odds_error": 0.1`, `"odds_error": 10`, "/fit/odds_error"},
		{"profile", `"odds_error": 0.1`, `"odds_error": 0.01`, "/fit/odds_caution"},
		{"profile", `"odds_caution": 0.02`, `"odds_caution": -0.02`, "/fit/odds_caution"},
		{"profile", `"odds_caution": 0.02`, `"odds_caution": 1e-9`, "/fit/odds_caution"},
		{"profile", `"odds_caution": 0.02`, `"odds_caution": 0.5`, "/fit/odds_caution"},
		{"profile", `"odds_error": 0.1`, `"odds_error": 0.2`, "/fit/odds_error"},
		{"profile", `"ply_overrun": 50`, `"ply_overrun": 5`, "6 mm or more"},
		{"profile", `"ply_overrun": 50`, `"ply_overrun": 5e-8`, "/tooling/ply_overrun"},
		{"materials", `[110, 76, 60, 50]`, `[50, 60, 76, 110]`, "catalyzed/gel_minutes/0/1"},
		{"materials", `[26, 20, 16, 14]`, `[126, 20, 16, 14]`, "A warmer shop gels no slower"},
		{"materials", `"stop_arm": 40`, `"stop_arm": -40`, "stop_arm"},
		{"profile", `"follow_within_hours": 24`, `"follow_within_hours": 0.5`, "gelcoat/follow_within_hours"},
		{"profile", `"follow_within_hours": 24`, `"follow_within_hours": 1e6`, "gelcoat/follow_within_hours"},
		{"profile", `"glass": 0.15`, `"glass": 15`, "waste/glass"},
		{"profile", `"pad_ply": "mat-450"`, `"pad_ply": "felt"`, "pad_ply"},
		{"profile", `"shop_temperature"`, `"shop_temprature"`, "shop_temprature"},
		{"materials", `"kind": "latch"`, `"kind": "bolt"`, "/hardware/0/kind"},
		{"materials", `"pad_length": 130`, `"pad_length": 30`, "/hardware/0/pad_length"},
		{"materials", `"hardener_percent": 2`, `"hardener_percent": 4`, "/fillers/0/hardener_percent"},
		{"materials", `{"temperature": 16, "minutes": 7}`, `{"temperature": 12, "minutes": 7}`, "working/1"},
		{"prices", `"mold_charge": "once"`, `"mold_charge": "twice"`, "mold_charge"},
	} {
		bodies := map[string]string{"profile": string(profile), "materials": string(materials), "prices": string(prices)}
		if strings.Count(bodies[c.document], c.old) == 0 {
			t.Fatalf("%s: %s is not in the example", c.document, c.old)
		}
		bodies[c.document] = strings.Replace(bodies[c.document], c.old, c.new, 1)
		if !json.Valid([]byte(bodies[c.document])) {
			t.Fatalf("%s: %s is not JSON", c.document, c.new)
		}
		_, err := Decode([]byte(bodies["profile"]), []byte(bodies["materials"]), []byte(bodies["prices"]), "1", "1")
		if !errors.Is(err, ErrDocument) || !strings.Contains(err.Error(), c.complains) {
			t.Errorf("%s with %s: %v", c.document, c.new, err)
		}
	}
}

// TestFabricMasses holds the example's glass against what it is sold as: areal masses
// from ounces by the units' definitions, 28.349523125 g over 0.09290304 and 0.83612736 m2.
// Mat within the 10 % that mat data sheets allow; fabrics to the rounding of catalogs,
// 0.1 %. "1708" is 17 oz to the square yard with 0.75 oz to the square foot of mat, and
// not 17 in all.
func TestFabricMasses(t *testing.T) {
	const ounce, foot2, yard2 = 28.349523125, 0.09290304, 0.83612736
	m := Example().Materials
	for _, c := range []struct {
		key              string
		mat, fabric, off float64 // oz/ft2, oz/yd2, share
	}{
		{"mat-225", 0.75, 0, 0.10}, {"mat-300", 1, 0, 0.10}, {"mat-450", 1.5, 0, 0.10}, {"mat-600", 2, 0, 0.10},
		{"woven-610", 0, 18, 1e-3}, {"woven-814", 0, 24, 1e-3}, {"stitched-806", 0.75, 17, 1e-3},
	} {
		r, ok := m.Ply(c.key)
		if !ok {
			t.Fatalf("no %s", c.key)
		}
		mat, fabric := c.mat*ounce/foot2, c.fabric*ounce/yard2
		gotMat, gotFabric := r.MatMass, r.ArealMass
		if c.fabric == 0 {
			gotMat, gotFabric = r.ArealMass, 0
		}
		if math.Abs(gotMat-mat) > c.off*mat || math.Abs(gotFabric-fabric) > c.off*fabric {
			t.Errorf("%s: %v and %v g/m2, its ounces are %v and %v", c.key, gotMat, gotFabric, mat, fabric)
		}
		if kilograms := r.Material().GlassMass(); math.Abs(kilograms*1000-gotMat-gotFabric) > 1e-9 {
			t.Errorf("%s: %v kg/m2 for the laminate", c.key, kilograms)
		}
	}
}
