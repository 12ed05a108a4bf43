package model3d_test

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/integrate/quad"
	"pgregory.net/rapid"

	"hatchwright/service/derivation"
	"hatchwright/service/model3d"
	"hatchwright/service/outline"
	"hatchwright/service/part"
	"hatchwright/service/profile"
	"hatchwright/service/shop"
)

var monday = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// hatch is a request for a flush hatch of the given plan with figures set.
func hatch(plan part.Plan, figures map[string]float64) part.Request {
	r := part.Request{Given: map[string]bool{"/pattern": true, "/outline/shape": true, "/outline/corner_radius": true}}
	r.Pattern, r.Outline = part.FlushLedge, plan
	for pointer, x := range figures {
		r.Given[pointer] = true
		if err := r.SetNumber(pointer, x); err != nil {
			panic(err)
		}
	}
	return r
}

func engine(t testing.TB) *derivation.Engine {
	e, err := derivation.New(shop.Example())
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func derive(t testing.TB, r part.Request) *derivation.Result {
	out, err := engine(t).Derive(r, monday)
	if err != nil {
		t.Fatal(err)
	}
	if !out.Makeable() {
		t.Fatalf("not makeable: %v", out.Findings)
	}
	return &out
}

func corner(x, y, r float64) outline.Corner {
	return outline.Corner{At: outline.Point{X: x, Y: y}, Radius: r}
}

var cases = map[string]part.Request{
	"rectangle": hatch(part.Plan{Shape: part.Rectangle, Length: 520, Width: 380, CornerRadius: 60}, nil),
	"circle":    hatch(part.Plan{Shape: part.Circle, Diameter: 400}, nil),
	"dee":       hatch(part.Plan{Shape: part.Dee, Length: 600, Width: 420, CornerRadius: 50}, nil),
	"obround":   hatch(part.Plan{Shape: part.Obround, Length: 620, Width: 300}, nil),
	"taper":     hatch(part.Plan{Shape: part.Taper, Length: 600, WidthAft: 500, WidthFwd: 350, CornerRadius: 45}, nil),
	// The trunk's corners are re-rounded: two bands and a flat ring.
	"sharp corners": hatch(part.Plan{Shape: part.Rectangle, Length: 520, Width: 380, CornerRadius: 12}, nil),
	"polygon": hatch(part.Plan{Shape: part.Polygon, Corners: []outline.Corner{
		corner(-300, -200, 20), corner(250, -220, 60), corner(380, 20, 40), corner(200, 230, 30), corner(-280, 180, 20)}}, nil),
	"no core": hatch(part.Plan{Shape: part.Rectangle, Length: 300, Width: 240, CornerRadius: 40}, map[string]float64{"/lid/land_width": 8}),
}

func init() {
	for _, pattern := range []part.Pattern{part.FlushGutter, part.RaisedCoaming, part.BoltedPlate} {
		r := hatch(part.Plan{Shape: part.Rectangle, Length: 620, Width: 480, CornerRadius: 80}, nil)
		r.Pattern = pattern
		cases[string(pattern)] = r
	}
	cases["narrow upstand"] = func() part.Request {
		r := hatch(part.Plan{Shape: part.Rectangle, Length: 700, Width: 560, CornerRadius: 90},
			map[string]float64{"/gutter/upstand_width": 21, "/seal/width": 8, "/receiver/lip_radius": 5})
		r.Pattern = part.FlushGutter
		return r
	}()
	r := cases["no core"]
	r.Lid.Core, r.Given["/lid/core"] = part.NoCore, true
	r.Duty.Kind, r.Given["/duty/kind"] = part.NoStep, true
	cases["no core"] = r
}

// watertight says what keeps a mesh from being a closed, oriented surface: every
// directed edge once, and its opposite once.
func watertight(m model3d.Mesh) error {
	edges := make(map[[2]uint32]int, 3*len(m.Triangles))
	for _, t := range m.Triangles {
		for k := range 3 {
			edges[[2]uint32{t[k], t[(k+1)%3]}]++
		}
	}
	for e, n := range edges {
		if n != 1 || edges[[2]uint32{e[1], e[0]}] != 1 {
			return fmt.Errorf("edge %v is there %d times, its opposite %d times", e, n, edges[[2]uint32{e[1], e[0]}])
		}
	}
	used := map[uint32]bool{}
	at := map[model3d.Vertex]uint32{}
	for _, t := range m.Triangles {
		for _, i := range t {
			used[i] = true
			if j, ok := at[m.Vertices[i]]; ok && j != i {
				return fmt.Errorf("vertices %d and %d are in one place", i, j)
			}
			at[m.Vertices[i]] = i
		}
	}
	if len(used) != len(m.Vertices) {
		return fmt.Errorf("%d of %d vertices are used", len(used), len(m.Vertices))
	}
	return nil
}

func area(m model3d.Mesh) float64 {
	a := 0.0
	for _, t := range m.Triangles {
		p, q, r := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		u := [3]float64{q.X - p.X, q.Y - p.Y, q.Z - p.Z}
		v := [3]float64{r.X - p.X, r.Y - p.Y, r.Z - p.Z}
		a += math.Sqrt(math.Pow(u[1]*v[2]-u[2]*v[1], 2)+math.Pow(u[2]*v[0]-u[0]*v[2], 2)+math.Pow(u[0]*v[1]-u[1]*v[0], 2)) / 2
	}
	return a
}

// under is the integral of A(n) dz along a section path by Gauss-Legendre
// quadrature (gonum), 32 points to each of 8 parts of a segment.
func under(t testing.TB, o outline.Outline, path []profile.Segment) float64 {
	total := 0.0
	for _, s := range path {
		f := func(x float64) float64 {
			p := s.At(x)
			in, err := o.Offset(p.N)
			if err != nil {
				t.Fatal(err)
			}
			dz := s.To.Z - s.From.Z
			if s.Kind == profile.Arc {
				dz = s.Radius * s.Sweep * math.Cos(s.Start+s.Sweep*x)
			}
			return in.Area() * dz
		}
		for k := range 8 {
			total += quad.Fixed(f, float64(k)/8, float64(k+1)/8, 16, nil, 0)
		}
	}
	return total
}

func end(p profile.Profile) (from, to profile.Point) {
	s := p.Segments()
	return s[0].From, s[len(s)-1].To
}

func scaled(t testing.TB, r *derivation.Result, o outline.Outline) outline.Outline {
	o, err := o.Scale(model3d.MoldScale(r))
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// volumes are the solids' volumes by quadrature over their sections, mm3.
func volumes(t testing.TB, r *derivation.Result) map[string]float64 {
	out := map[string]float64{}
	// Receiver: between the back and the face, and the two cut ends.
	shell := 0.0
	for i, b := range r.Geometry.Receiver.Bands {
		back, err := model3d.Back(r, b.Profile)
		if err != nil {
			t.Fatal(err)
		}
		shell += under(t, b.Round, back.Segments()) - under(t, b.Round, b.Profile.Segments())
		f0, f1 := end(b.Profile)
		b0, b1 := end(back)
		wall := func(p, q profile.Point) float64 { return under(t, b.Round, []profile.Segment{{From: p, To: q}}) }
		if i == 0 {
			shell += wall(f0, b0)
		}
		if i == len(r.Geometry.Receiver.Bands)-1 {
			shell -= wall(f1, b1)
		}
	}
	out[model3d.Receiver] = shell

	path, err := model3d.LidSection(r, -1)
	if core, ok := model3d.CoreEdge(r); ok {
		path, err = model3d.LidSection(r, core-1)
	}
	if err != nil {
		t.Fatal(err)
	}
	out[model3d.Lid] = math.Abs(under(t, r.Geometry.Outlines.Recess, path))

	for _, m := range r.Molds {
		base := m.Layers[0].Length * m.Layers[0].Width
		if m.Part == "receiver" {
			bands, err := model3d.ReceiverMoldFace(r)
			if err != nil {
				t.Fatal(err)
			}
			low := 0.0
			for _, b := range bands {
				at, _ := b.Profile.Bounds()
				low = math.Min(low, at.Z)
			}
			v := base * (m.Layers[0].Stack.Thickness - low)
			for _, b := range bands {
				v += under(t, b.Round, b.Profile.Segments())
			}
			out[model3d.ReceiverMold] = v
			continue
		}
		face, high, err := model3d.LidMoldFace(r)
		if err != nil {
			t.Fatal(err)
		}
		out[model3d.LidMold] = base*(m.Layers[0].Stack.Thickness+high-face.Vertices()[0].At.Z) - under(t, scaled(t, r, r.Geometry.Outlines.Recess), face.Segments())
	}
	return out
}

func TestSolidsAreClosedAndOfTheRightVolume(t *testing.T) {
	for name, request := range cases {
		t.Run(name, func(t *testing.T) {
			r := derive(t, request)
			want := volumes(t, r)
			for _, chord := range []float64{0.5, model3d.DefaultChordError} {
				meshes, err := model3d.Solids(r, chord)
				if err != nil {
					t.Fatal(err)
				}
				if len(meshes) != 4 {
					t.Fatalf("%d solids, want 4", len(meshes))
				}
				for _, m := range meshes {
					if err := watertight(m); err != nil {
						t.Errorf("%s at %g mm: %v", m.Name, chord, err)
					}
					// A surface that is nowhere further off than the chord error encloses
					// at most that much more or less on each mm2.
					if got, off := m.Volume(), chord*area(m); !(got > 0) || math.Abs(got-want[m.Name]) > off {
						t.Errorf("%s at %g mm: volume %.1f mm3, want %.1f ± %.1f", m.Name, chord, got, want[m.Name], off)
					}
				}
			}
		})
	}
}

// Halving the chord error must bring the volume nearer: the error is second order
// in the step, so about in half.
func TestVolumeConverges(t *testing.T) {
	r := derive(t, cases["dee"])
	want := volumes(t, r)
	for _, name := range model3d.Names(r) {
		before := math.Inf(1)
		for _, chord := range []float64{0.4, 0.1, 0.025, 0.006} {
			m, err := model3d.Solid(r, name, chord)
			if err != nil {
				t.Fatal(err)
			}
			off := math.Abs(m.Volume() - want[name])
			if off > before*0.6 {
				t.Errorf("%s: error %g mm3 at %g mm, %g before", name, off, chord, before)
			}
			before = off
		}
		if before/want[name] > 1e-4 {
			t.Errorf("%s: relative error %g at 0.006 mm", name, before/want[name])
		}
	}
}

// Molds made larger against shrinkage are meshed larger; the parts are not.
func TestMoldScale(t *testing.T) {
	r := derive(t, cases["taper"])
	plain := volumes(t, r)
	r.Tolerance.MoldScale = 1.004
	want := volumes(t, r)
	for _, name := range model3d.Names(r) {
		m, err := model3d.Solid(r, name, 0.02)
		if err != nil {
			t.Fatal(err)
		}
		if err := watertight(m); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if got := m.Volume(); math.Abs(got-want[name]) > 0.02*area(m) {
			t.Errorf("%s: %g mm3, want %g", name, got, want[name])
		}
		if isMold := name == model3d.ReceiverMold || name == model3d.LidMold; isMold == (plain[name] == want[name]) {
			t.Errorf("%s: %g mm3 scaled, %g plain", name, want[name], plain[name])
		}
	}
}

// The numbers of the derivation and the mesh are of one surface: the plug's mold
// face encloses what the derivation says of the receiver, to the trunk's foot.
func TestPlugEnclosesTheWell(t *testing.T) {
	for name, request := range cases {
		r := derive(t, request)
		sum := 0.0
		for _, b := range r.Geometry.Receiver.Bands {
			sum += under(t, b.Round, b.Profile.Segments())
		}
		if math.Abs(sum-r.Geometry.Receiver.EnclosedVolume) > 1e-9*sum {
			t.Errorf("%s: quadrature %g, derivation %g", name, sum, r.Geometry.Receiver.EnclosedVolume)
		}
	}
}

func TestRandomHatchesAreWatertight(t *testing.T) {
	e := engine(t)
	made := 0
	rapid.Check(t, func(t *rapid.T) {
		plan := part.Plan{Shape: rapid.SampledFrom([]string{part.Rectangle, part.Dee, part.Taper, part.Circle}).Draw(t, "shape"),
			Length: rapid.Float64Range(260, 900).Draw(t, "length"), Width: rapid.Float64Range(240, 700).Draw(t, "width"),
			CornerRadius: rapid.Float64Range(0, 110).Draw(t, "corner"), Diameter: rapid.Float64Range(240, 900).Draw(t, "diameter")}
		plan.WidthAft, plan.WidthFwd = plan.Width, plan.Width*rapid.Float64Range(0.6, 1.3).Draw(t, "taper")
		f := map[string]float64{}
		for _, s := range []struct {
			pointer   string
			low, high float64
		}{
			{"/receiver/recess_depth", 16, 45}, {"/receiver/ledge_width", 28, 45}, {"/receiver/trunk_height", 20, 90},
			{"/receiver/edge_radius", 0, 12}, {"/receiver/root_radius", 0, 7}, {"/receiver/lip_radius", 0, 8},
			{"/receiver/draft_deg", 0, 4}, {"/receiver/trunk_draft_deg", 0, 5}, {"/lid/gap", 2, 6}, {"/lid/edge_radius", 0, 9}, {"/lid/land_width", 0, 10},
		} {
			f[s.pointer] = rapid.Float64Range(s.low, s.high).Draw(t, s.pointer)
		}
		out, err := e.Derive(hatch(plan, f), monday)
		if err != nil {
			t.Fatal(err)
		}
		if !out.Makeable() {
			return
		}
		made++
		meshes, err := model3d.Solids(&out, 0.2)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range meshes {
			if err := watertight(m); err != nil {
				t.Errorf("%s: %v", m.Name, err)
			}
			if !(m.Volume() > 0) {
				t.Errorf("%s: volume %g", m.Name, m.Volume())
			}
		}
	})
	if made == 0 {
		t.Error("no random hatch could be made: the test looked at nothing")
	}
	t.Logf("%d hatches meshed", made)
}

func TestRefusals(t *testing.T) {
	r := derive(t, cases["rectangle"])
	if _, err := model3d.Solid(r, "hinge", 0); !errors.Is(err, model3d.ErrUnknownModel) {
		t.Errorf("unknown name: %v", err)
	}
	for _, chord := range []float64{-1, 1e-9, 50, math.NaN()} {
		var e *model3d.ChordError
		if _, err := model3d.Solid(r, model3d.Lid, chord); !errors.As(err, &e) {
			t.Errorf("chord error %g: %v", chord, err)
		}
	}
	bad := cases["rectangle"]
	bad.Given = map[string]bool{"/pattern": true, "/outline/shape": true, "/lid/gap": true}
	bad.Lid.Gap = 0
	out, err := engine(t).Derive(bad, monday)
	if err != nil || out.Makeable() {
		t.Fatalf("a lid without a gap is makeable: %v", err)
	}
	if _, err := model3d.Solid(&out, model3d.Lid, 0); !errors.Is(err, model3d.ErrNoShape) {
		t.Errorf("not makeable: %v", err)
	}
	if names := model3d.Names(&out); names != nil {
		t.Errorf("names of what cannot be made: %v", names)
	}
}

// STL read back by its layout: 80 bytes, a count, 50 bytes a triangle.
func TestSTLReadsBack(t *testing.T) {
	r := derive(t, cases["taper"])
	for _, name := range model3d.Names(r) {
		m, err := model3d.Solid(r, name, 0)
		if err != nil {
			t.Fatal(err)
		}
		b := m.STL()
		if n := binary.LittleEndian.Uint32(b[80:]); int(n) != len(m.Triangles) || len(b) != 84+50*int(n) {
			t.Fatalf("%s: %d triangles in %d bytes, want %d", name, n, len(b), len(m.Triangles))
		}
		if bytes.HasPrefix(b, []byte("solid")) {
			t.Errorf("%s: begins like the text form", name)
		}
		volume := 0.0
		for i := range m.Triangles {
			var p [4][3]float64
			for k := range 12 {
				p[k/3][k%3] = float64(math.Float32frombits(binary.LittleEndian.Uint32(b[84+50*i+4*k:])))
			}
			a, q, c := p[1], p[2], p[3]
			volume += (a[0]*(q[1]*c[2]-q[2]*c[1]) + a[1]*(q[2]*c[0]-q[0]*c[2]) + a[2]*(q[0]*c[1]-q[1]*c[0])) / 6
		}
		// float32 keeps 24 bits.
		if math.Abs(volume-m.Volume()) > 1e-5*m.Volume() {
			t.Errorf("%s: %g read back, %g written", name, volume, m.Volume())
		}
	}
}

// GLB read back through its own structure, by the glTF 2.0 specification: header,
// JSON chunk, binary chunk; accessors within their views within the buffer; every
// index within its vertices; meters with y up.
func TestGLBReadsBack(t *testing.T) {
	r := derive(t, cases["polygon"])
	meshes, err := model3d.Solids(r, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	b, err := model3d.GLB(meshes, model3d.Meta{Digest: r.Digest, Date: "2026-03-02"})
	if err != nil {
		t.Fatal(err)
	}
	u32 := func(at int) int { return int(binary.LittleEndian.Uint32(b[at:])) }
	if string(b[:4]) != "glTF" || u32(4) != 2 || u32(8) != len(b) {
		t.Fatalf("header %x", b[:12])
	}
	n := u32(12)
	if string(b[16:20]) != "JSON" || n%4 != 0 {
		t.Fatalf("first chunk %q of %d bytes", b[16:20], n)
	}
	var doc struct {
		Asset struct{ Version string }
		Nodes []struct {
			Name string
			Mesh int
		}
		Meshes []struct {
			Primitives []struct {
				Attributes struct {
					POSITION int `json:"POSITION"`
				}
				Indices, Mode int
			}
		}
		Accessors []struct {
			BufferView, ComponentType, Count int
			Type                             string
			Min, Max                         []float32
		}
		BufferViews []struct{ ByteOffset, ByteLength int }
		Buffers     []struct{ ByteLength int }
	}
	if err := json.Unmarshal(b[20:20+n], &doc); err != nil {
		t.Fatal(err)
	}
	bin := b[20+n:]
	if string(bin[4:8]) != "BIN\x00" || int(binary.LittleEndian.Uint32(bin)) != len(bin)-8 || doc.Buffers[0].ByteLength != len(bin)-8 {
		t.Fatal("binary chunk does not fill the file")
	}
	bin = bin[8:]
	if doc.Asset.Version != "2.0" || len(doc.Nodes) != len(meshes) {
		t.Fatalf("version %q, %d nodes", doc.Asset.Version, len(doc.Nodes))
	}
	for i, node := range doc.Nodes {
		m := meshes[i]
		if node.Name != m.Name {
			t.Errorf("node %d is %q, want %q", i, node.Name, m.Name)
		}
		p := doc.Meshes[node.Mesh].Primitives[0]
		positions, indices := doc.Accessors[p.Attributes.POSITION], doc.Accessors[p.Indices]
		if positions.ComponentType != 5126 || positions.Type != "VEC3" || indices.ComponentType != 5125 || indices.Count != 3*len(m.Triangles) {
			t.Fatalf("%s: accessors %+v %+v", m.Name, positions, indices)
		}
		at := doc.BufferViews[positions.BufferView]
		read := model3d.Mesh{Name: m.Name}
		for k := range positions.Count {
			var c [3]float64
			for j := range c {
				f := math.Float32frombits(binary.LittleEndian.Uint32(bin[at.ByteOffset+12*k+4*j:]))
				if f < positions.Min[j] || f > positions.Max[j] {
					t.Fatalf("%s: position %d outside its bounds", m.Name, k)
				}
				c[j] = float64(f) * 1000
			}
			read.Vertices = append(read.Vertices, model3d.Vertex{X: c[0], Y: -c[2], Z: c[1]})
		}
		at = doc.BufferViews[indices.BufferView]
		if at.ByteOffset%4 != 0 || at.ByteOffset+at.ByteLength > len(bin) || at.ByteLength != 4*indices.Count {
			t.Fatalf("%s: view %+v", m.Name, at)
		}
		for k := 0; k < indices.Count; k += 3 {
			var tri [3]uint32
			for j := range tri {
				tri[j] = binary.LittleEndian.Uint32(bin[at.ByteOffset+4*(k+j):])
			}
			read.Triangles = append(read.Triangles, tri)
		}
		if err := watertight(read); err != nil {
			t.Errorf("%s read back: %v", m.Name, err)
		}
		if math.Abs(read.Volume()-m.Volume()) > 1e-5*m.Volume() {
			t.Errorf("%s read back: volume %g, written %g", m.Name, read.Volume(), m.Volume())
		}
	}
	again, err := model3d.GLB(meshes, model3d.Meta{Digest: r.Digest, Date: "2026-03-02"})
	if err != nil || !bytes.Equal(b, again) {
		t.Error("the same meshes gave other bytes")
	}
}

func TestThicken(t *testing.T) {
	// A quarter turn outward of radius 10 at 4 mm: radii 10 - 4 = 6 inside and
	// 10 + 4 = 14 outside, legs moved by 4 (hand calculation).
	p, err := profile.New([]profile.Vertex{{At: profile.Point{N: -50}}, {At: profile.Point{}, Radius: 10}, {At: profile.Point{Z: 40}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ t, radius, n, z float64 }{{4, 6, -4, 4}, {-4, 14, 4, -4}, {12, 0, -12, 12}} {
		q, err := model3d.Thicken(p, c.t)
		if err != nil {
			t.Fatal(err)
		}
		v := q.Vertices()[1]
		if math.Abs(v.Radius-c.radius) > 1e-12 || math.Abs(v.At.N-c.n) > 1e-12 || math.Abs(v.At.Z-c.z) > 1e-12 {
			t.Errorf("by %g: %+v", c.t, v)
		}
	}
	if _, err := model3d.Thicken(p, 55); err == nil {
		t.Error("a leg of 50 mm was thickened by 55 mm")
	}
}

func ExampleSolid() {
	e, err := derivation.New(shop.Example())
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := e.Derive(hatch(part.Plan{Shape: part.Circle, Diameter: 400}, nil), monday)
	if err != nil {
		fmt.Println(err)
		return
	}
	m, err := model3d.Solid(&r, model3d.ReceiverMold, 0.1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%s: %.1f dm3, closed: %v\n", m.Name, m.Volume()/1e6, watertight(m) == nil)
	// Output: receiver-mold: 16.0 dm3, closed: true
}

func BenchmarkSolids(b *testing.B) {
	r := derive(b, cases["rectangle"])
	triangles := 0
	for b.Loop() {
		meshes, err := model3d.Solids(r, 0)
		if err != nil {
			b.Fatal(err)
		}
		triangles = 0
		for _, m := range meshes {
			triangles += len(m.Triangles)
		}
	}
	b.ReportMetric(float64(triangles), "triangles")
}

// A thick lid without a core: the flat under which its underside begins is farther in
// than the thickness, and the solid has the volume of plies over a face, within what
// corners make of it.
func TestThickLid(t *testing.T) {
	r := hatch(part.Plan{Shape: part.Rectangle, Length: 300, Width: 260, CornerRadius: 40}, map[string]float64{"/lid/draft_deg": 8.84, "/lid/gap": 4.253, "/lid/least_gap": 0, "/lid/land_width": 16})
	r.Laminate.Schedule = part.ScheduleListed
	r.Given["/laminate/schedule"], r.Given["/laminate/lid"], r.Given["/laminate/receiver"] = true, true, true
	mat := func(n int) []string { return slices.Repeat([]string{"mat-450"}, n) }
	for _, n := range []int{8, 12} {
		r.Laminate.Lid, r.Laminate.Receiver = append([]string{"mat-300"}, mat(n-1)...), append([]string{"mat-300"}, mat(2)...)
		res := derive(t, r)
		mesh, err := model3d.Solid(res, model3d.Lid, 0.05)
		if err != nil {
			t.Fatalf("%d plies: %v", n, err)
		}
		if got, want := mesh.Volume(), res.Geometry.Lid.Area*res.Lid.SkirtThickness; got < 0.8*want || got > 1.1*want {
			t.Errorf("%d plies, %.2f mm: %.0f mm3, face times thickness %.0f", n, res.Lid.SkirtThickness, got, want)
		}
	}
}
