package drawing

import (
	"testing"
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

var (
	monday = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	today  = civil.Date{Year: 2026, Month: 3, Day: 2}
)

// hatch is a request of a pattern and plan with figures set.
func hatch(pattern part.Pattern, plan part.Plan, figures map[string]float64) part.Request {
	r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true}}
	r.Pattern, r.Outline = pattern, plan
	for pointer, x := range figures {
		r.Given[pointer] = true
		if err := r.SetNumber(pointer, x); err != nil {
			panic(err)
		}
	}
	return r
}

func corner(x, y, r float64) outline.Corner {
	return outline.Corner{At: outline.Point{X: x, Y: y}, Radius: r}
}

// scenes are hatches of all shapes and patterns, small and large, in the order
// they are tested in.
var scenes = []struct {
	name    string
	request part.Request
}{
	{"rectangle", hatch(part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 520, Width: 380, CornerRadius: 60}, nil)},
	{"circle", hatch(part.FlushLedge, part.Plan{Shape: part.Circle, Diameter: 400}, nil)},
	{"dee", hatch(part.FlushLedge, part.Plan{Shape: part.Dee, Length: 600, Width: 420, CornerRadius: 50}, nil)},
	{"obround", hatch(part.FlushLedge, part.Plan{Shape: part.Obround, Length: 640, Width: 300}, nil)},
	{"taper", hatch(part.FlushLedge, part.Plan{Shape: part.Taper, Length: 600, WidthAft: 500, WidthFwd: 350, CornerRadius: 45}, nil)},
	{"polygon", hatch(part.FlushLedge, part.Plan{Shape: part.Polygon, Corners: []outline.Corner{
		corner(-300, -200, 20), corner(250, -220, 60), corner(380, 20, 40), corner(200, 230, 30), corner(-280, 180, 20)}}, nil)},
	{"deep", hatch(part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 900, Width: 640, CornerRadius: 20},
		map[string]float64{"/receiver/recess_depth": 50, "/receiver/trunk_height": 110, "/receiver/ledge_width": 45, "/lid/gap": 6})},
	{"small", hatch(part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 260, Width: 230, CornerRadius: 40}, map[string]float64{"/lid/land_width": 8})},
	{"square edges", hatch(part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 480, Width: 420, CornerRadius: 70},
		map[string]float64{"/receiver/edge_radius": 0, "/receiver/root_radius": 0, "/receiver/lip_radius": 0, "/lid/edge_radius": 0})},
	{"gutter", hatch(part.FlushGutter, part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}, nil)},
	{"coaming", hatch(part.RaisedCoaming, part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}, nil)},
	{"hardware", fitted(hatch(part.FlushLedge, part.Plan{Shape: part.Rectangle, Length: 560, Width: 420, CornerRadius: 60}, nil))},
	{"narrow upstand", hatch(part.FlushGutter, part.Plan{Shape: part.Rectangle, Length: 700, Width: 560, CornerRadius: 90},
		map[string]float64{"/gutter/upstand_width": 21, "/seal/width": 8, "/receiver/lip_radius": 5})},
	{"plate", hatch(part.BoltedPlate, part.Plan{Shape: part.Rectangle, Length: 400, Width: 300, CornerRadius: 60}, nil)},
}

// fitted adds hardware of the example shop.
func fitted(r part.Request) part.Request {
	docs := shop.Example()
	for i, edge := range []string{"fore", "aft"} {
		if i < len(docs.Materials.Hardware) {
			r.Hardware = append(r.Hardware, part.Hardware{Item: docs.Materials.Hardware[i].Key, Edge: edge, Count: 1 + i})
		}
	}
	r.Given["/hardware"] = true
	return r
}

// request derives a scene and everything that is drawn of it.
func request(t testing.TB, r part.Request, u quantity.System) Request {
	t.Helper()
	docs := shop.Example()
	e, err := derivation.New(docs)
	if err != nil {
		t.Fatal(err)
	}
	r.Units = u
	out, err := e.Derive(r, monday)
	if err != nil {
		t.Fatal(err)
	}
	if !out.Makeable() {
		for _, f := range out.Findings {
			t.Log(f.Code, f.Message(u))
		}
		t.Fatal("not makeable")
	}
	return Request{Result: &out, Units: u, Date: today}
}
