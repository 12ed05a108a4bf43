package api

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/binary"
	"encoding/json"
	"image/png"
	"io"
	"maps"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// sound says what is wrong with a file for its media type, "" if nothing: the
// marks by which each format is known, and its own account of its size.
func sound(media string, body []byte) string {
	switch media {
	case "image/svg+xml":
		if !bytes.Contains(body, []byte("<svg")) || !bytes.HasSuffix(bytes.TrimSpace(body), []byte("</svg>")) {
			return "no SVG"
		}
	case "image/png":
		if i, err := png.Decode(bytes.NewReader(body)); err != nil || i.Bounds().Dx() < 500 {
			return "no PNG"
		}
	case "application/pdf":
		if !bytes.HasPrefix(body, []byte("%PDF-1.")) || !bytes.HasSuffix(bytes.TrimSpace(body), []byte("%%EOF")) {
			return "no PDF"
		}
	case "image/vnd.dxf":
		if !bytes.Contains(body, []byte("\n  0\nSECTION\n")) || !bytes.HasSuffix(bytes.TrimSpace(body), []byte("0\nEOF")) {
			return "no DXF"
		}
	case "model/gltf-binary":
		if len(body) < 12 || string(body[:4]) != "glTF" || binary.LittleEndian.Uint32(body[8:]) != uint32(len(body)) {
			return "no GLB"
		}
	case "model/stl":
		if len(body) < 84 || 84+50*int(binary.LittleEndian.Uint32(body[80:])) != len(body) {
			return "no STL"
		}
	default:
		return "unknown media type " + media
	}
	return ""
}

var fileName = regexp.MustCompile(`^inline; filename="([a-z0-9-]+)-([0-9a-f]{12})\.(svg|png|pdf|dxf|glb|stl)"$`)

// TestDrawings asks for every drawing and model of kept hatches in every format
// that the list says: each is that format, bears the digest in its name, is the
// same an hour later and need not be sent again.
func TestDrawings(t *testing.T) {
	b := newBench(t)
	key := b.shop
	formats := map[string]int{}
	for _, name := range fewer("circle", "gutter", "plate") {
		a := b.keep(key, `{"configuration":`+scenarios[name]+`}`)
		digest := strings.TrimPrefix(memberText(t, a.body, "digest"), "sha256:")[:12]
		at := a.header.Get("Location")
		var list client.DrawingList
		strict(t, b.send(http.MethodGet, at+"/drawings", key, "").body, &list)
		names := map[string]bool{}
		for _, d := range list.Items {
			names[d.Name] = true
			if d.Title == "" || len(d.Formats) == 0 {
				t.Errorf("%s: %+v", name, d)
			}
			first := b.send(http.MethodGet, d.Href, key, "")
			if first.header.Get("Content-Type") != d.Formats[0] {
				t.Errorf("%s %s: any format gives %s, the first is %s", name, d.Name, first.header.Get("Content-Type"), d.Formats[0])
			}
			for _, media := range d.Formats {
				formats[media]++
				got := b.send(http.MethodGet, d.Href, key, "", "Accept", "text/html, "+media+";q=0.5")
				if got.status != http.StatusOK || got.header.Get("Content-Type") != media || !strings.Contains(strings.Join(got.header.Values("Vary"), ","), "Accept") {
					t.Errorf("%s %s %s: %d %v", name, d.Name, media, got.status, got.header)
					continue
				}
				if wrong := sound(media, got.body); wrong != "" {
					t.Errorf("%s %s: %s: %.100q", name, d.Name, wrong, got.body)
				}
				m := fileName.FindStringSubmatch(got.header.Get("Content-Disposition"))
				if m == nil || m[1] != d.Name || m[2] != digest {
					t.Errorf("%s %s: %s", name, d.Name, got.header.Get("Content-Disposition"))
				}
				if media == "image/svg+xml" && !bytes.Contains(got.body, []byte(digest)) {
					t.Errorf("%s %s does not bear the digest", name, d.Name)
				}
				if media != d.Formats[0] {
					continue
				}
				b.clock.Add(time.Hour)
				again := b.send(http.MethodGet, d.Href, key, "", "Accept", media, "If-None-Match", `"x", `+got.header.Get("ETag"))
				if again.status != http.StatusNotModified || len(again.body) != 0 || again.header.Get("ETag") != got.header.Get("ETag") {
					t.Errorf("%s %s %s an hour later: %d, %s and %s", name, d.Name, media, again.status, again.header.Get("ETag"), got.header.Get("ETag"))
				}
			}
			none := b.send(http.MethodGet, d.Href, key, "", "Accept", "image/gif")
			if p := none.problem(t); none.status != http.StatusNotAcceptable || p.Type != "/problems/not-acceptable" || !strings.Contains(p.Detail, strings.Join(d.Formats, " or ")) {
				t.Errorf("%s", none.body)
			}
		}
		for _, want := range []string{"plan", "section", "exploded", "mold-receiver", "mold-lid", "router", "model", "model-parts", "model-lid", "model-receiver", "model-mold-receiver", "model-mold-lid"} {
			if !names[want] {
				t.Errorf("%s: no %s", name, want)
			}
		}
		p := b.send(http.MethodGet, at+"/drawings/portrait", key, "").problem(t)
		if p.Status != http.StatusNotFound || !strings.Contains(p.Detail, "plan, section") {
			t.Errorf("unknown drawing: %+v", p)
		}
	}
	if len(formats) != len(mediaTypes) {
		t.Errorf("formats %v", formats)
	}
}

// TestDrawUnkept draws what is not kept: the same picture as of a kept one of the
// same day, in either unit, for a storefront too.
func TestDrawUnkept(t *testing.T) {
	b := newBench(t)
	_, key := b.dealer("Brackwater Marine", record.RoleStorefront)
	for _, name := range []string{"least", "circle"} {
		at := b.keep(b.shop, `{"configuration":`+scenarios[name]+`}`).header.Get("Location")
		for _, c := range []struct{ drawing, media string }{
			{"plan", "image/svg+xml"}, {"section", "image/png"}, {"exploded", "application/pdf"}, {"plan", "image/vnd.dxf"}, {"model-parts", "model/gltf-binary"}, {"model-lid", "model/stl"},
		} {
			got := b.send(http.MethodPost, "/v1/drawings/"+c.drawing, key, scenarios[name], "Accept", c.media)
			want := b.send(http.MethodGet, at+"/drawings/"+c.drawing, b.shop, "", "Accept", c.media)
			if got.status != http.StatusOK || got.header.Get("Content-Type") != c.media || !bytes.Equal(got.body, want.body) {
				t.Errorf("%s %s: %d %s, %s", name, c.drawing, got.status, got.header.Get("Content-Type"), firstDifference(got.body, want.body))
			}
			if got.header.Get("ETag") == "" || got.header.Get("ETag") != want.header.Get("ETag") || got.header.Get("Cache-Control") != "no-store" {
				t.Errorf("%v", got.header)
			}
		}
	}
	p := b.send(http.MethodPost, "/v1/drawings/portrait", key, small).problem(t)
	if p.Status != http.StatusNotFound || !strings.Contains(p.Detail, "model-lid") {
		t.Errorf("%+v", p)
	}
	p = b.send(http.MethodPost, "/v1/drawings/plan", key, small, "Accept", "model/stl").problem(t)
	if p.Status != http.StatusNotAcceptable || !strings.Contains(p.Detail, "image/svg+xml or image/png or application/pdf or image/vnd.dxf") {
		t.Errorf("%+v", p)
	}
	p = b.send(http.MethodPost, "/v1/drawings/model-parts", key, small, "Accept", "model/stl").problem(t)
	if p.Status != http.StatusNotAcceptable || !strings.HasSuffix(p.Detail, "model/gltf-binary.") {
		t.Errorf("%+v", p)
	}
	p = b.send(http.MethodPost, "/v1/drawings/plan", key, `{"units":"in","pattern":"flush-ledge","outline":{"shape":"rectangle","length":20,"width":15,"corner_radius":9}}`).problem(t)
	if p.Status != http.StatusUnprocessableEntity || p.Type != "/problems/not-makeable" || len(p.Findings) == 0 || p.Configuration == nil {
		t.Errorf("%+v", p)
	}
	p = b.send(http.MethodPost, "/v1/drawings/plan", key, `{"units":"in"}`).problem(t)
	if p.Status != http.StatusBadRequest || len(p.Errors) != 2 {
		t.Errorf("%+v", p)
	}
	p = b.send(http.MethodPost, "/v1/drawings/..%2fplan", key, small).problem(t)
	if p.Status != http.StatusBadRequest || *p.Errors[0].Parameter != "drawing" {
		t.Errorf("%+v", p)
	}
}

// TestEveryScenarioIsDrawn draws every scenario's every drawing once.
func TestEveryScenarioIsDrawn(t *testing.T) {
	b := newBench(t)
	for _, name := range fewer(slices.Sorted(maps.Keys(scenarios))...) {
		body := scenarios[name]
		a := b.keep(b.shop, `{"configuration":`+body+`}`)
		var list client.DrawingList
		strict(t, b.send(http.MethodGet, a.header.Get("Location")+"/drawings", b.shop, "").body, &list)
		if len(list.Items) < 12 {
			t.Errorf("%s: %d drawings", name, len(list.Items))
		}
		for _, d := range list.Items {
			if got := b.send(http.MethodGet, d.Href, b.shop, ""); got.status != http.StatusOK {
				t.Errorf("%s %s: %d %s", name, d.Name, got.status, got.body)
			}
		}
	}
}

func TestPacket(t *testing.T) {
	b := newBench(t)
	key := b.shop
	for _, name := range fewer("equipped", "inches", "gutter") {
		a := b.keep(key, `{"configuration":`+scenarios[name]+`}`)
		at := a.header.Get("Location") + "/packet"
		got := b.send(http.MethodGet, at, key, "")
		if got.status != http.StatusOK || got.header.Get("Content-Type") != "application/pdf" || sound("application/pdf", got.body) != "" {
			t.Fatalf("%s: %d %.300s", name, got.status, got.body)
		}
		digest := strings.TrimPrefix(memberText(t, a.body, "digest"), "sha256:")
		if want := `inline; filename="packet-` + digest[:12] + `.pdf"`; got.header.Get("Content-Disposition") != want {
			t.Errorf("%s, want %s", got.header.Get("Content-Disposition"), want)
		}
		if got.header.Get("Cache-Control") != "private, no-cache" {
			t.Errorf("%v", got.header)
		}
		if pages := bytes.Count(got.body, []byte("/Type /Page\n")); pages < 8 {
			t.Errorf("%s: %d pages", name, pages)
		}
		b.clock.Add(24 * time.Hour)
		tag := got.header.Get("ETag")
		for header, want := range map[string]int{
			tag: 304, strings.TrimPrefix(tag, "W/"): 304, `"other", ` + tag: 304, "*": 304, `W/"other"`: 200, strings.ToLower(tag) + "x": 200,
		} {
			again := b.send(http.MethodGet, at, key, "", "If-None-Match", header)
			if again.status != want || again.header.Get("ETag") != tag || (want == 304) != (len(again.body) == 0) || want == 200 && !bytes.Equal(again.body, got.body) {
				t.Errorf("%s: If-None-Match %s a day later: %d, %d bytes", name, header, again.status, len(again.body))
			}
		}
		if p := b.send(http.MethodGet, at, key, "", "Accept", "image/png").problem(t); p.Status != http.StatusNotAcceptable || !strings.HasSuffix(p.Detail, "application/pdf.") {
			t.Errorf("%+v", p)
		}
	}
}

// TestMixes asks for several temperatures: at the shop's own the mixes are those
// of the derivation; warmer gels sooner or takes less catalyst; outside a table
// there are none.
func TestMixes(t *testing.T) {
	b := newBench(t)
	key := b.shop
	a := b.keep(key, `{"configuration":`+scenarios["inches"]+`}`)
	at := a.header.Get("Location")
	var d client.Derivation
	strict(t, b.send(http.MethodGet, at+"/derivation", key, "").body, &d)
	ask := func(query string) client.Mixes {
		t.Helper()
		got := b.send(http.MethodGet, at+"/mixes"+query, key, "")
		if got.status != http.StatusOK {
			t.Fatalf("%s: %d %s", query, got.status, got.body)
		}
		var m client.Mixes
		strict(t, got.body, &m)
		return m
	}
	own := ask("")
	if own.Digest != d.Digest || "/v1/configurations/"+own.ConfigurationId.String() != at {
		t.Errorf("%+v", own)
	}
	same := func(x, y any) bool {
		p, _ := json.Marshal(x)
		q, _ := json.Marshal(y)
		return bytes.Equal(p, q)
	}
	if len(own.Mixes) == 0 || !same(own.Mixes, d.Laminate.Mixes) {
		t.Errorf("at the shop's own temperature %+v, the derivation says %+v", own.Mixes, d.Laminate.Mixes)
	}
	cold, warm := ask("?temperature=18"), ask("?temperature=27.5")
	if cold.Temperature != 18 || warm.Temperature != 27.5 || len(cold.Mixes) != len(warm.Mixes) {
		t.Fatalf("%+v %+v", cold, warm)
	}
	differ := 0
	for i, c := range cold.Mixes {
		w := warm.Mixes[i]
		if c.Mass != w.Mass || c.What != w.What {
			t.Errorf("%+v and %+v", c, w)
		}
		if w.CatalystPercent > c.CatalystPercent {
			t.Errorf("warm takes more catalyst: %+v and %+v", c, w)
		}
		if w.CatalystPercent < c.CatalystPercent || w.GelMinutes < c.GelMinutes {
			differ++
		}
	}
	if differ == 0 {
		t.Error("the temperature makes no difference")
	}
	for query, code := range map[string]string{"?temperature=-5": "too_cold", "?temperature=60": "too_hot"} {
		got := b.send(http.MethodGet, at+"/mixes"+query, key, "")
		p := got.problem(t)
		if got.status != http.StatusUnprocessableEntity || p.Type != "/problems/outside-product-table" || len(p.Findings) == 0 || len(p.Errors) != len(p.Findings) {
			t.Fatalf("%s: %d %s", query, got.status, got.body)
		}
		for i, f := range p.Findings {
			if !strings.HasSuffix(f.Code, code) || f.Unit != "C" || len(f.Mend) != 0 || f.Severity != "error" {
				t.Errorf("%+v", f)
			}
			if e := p.Errors[i]; *e.Parameter != "temperature" || e.Code != f.Code || e.Message != f.Message {
				t.Errorf("%+v", e)
			}
		}
		if page := b.send(http.MethodGet, p.Type, "", ""); page.status != http.StatusOK {
			t.Errorf("the page: %d", page.status)
		}
	}
}

// TestGeneratedClientGetsFiles goes through the generated client.
func TestGeneratedClientGetsFiles(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	key := b.shop
	c := b.client(key)
	id := uuid.MustParse(strings.TrimPrefix(b.keep(key, `{"configuration":`+small+`}`).header.Get("Location"), "/v1/configurations/"))
	p, err := c.GetPacketWithResponse(ctx, id, nil)
	if err != nil || p.StatusCode() != http.StatusOK {
		t.Fatal(err)
	}
	tag := p.HTTPResponse.Header.Get("ETag")
	if p, err = c.GetPacketWithResponse(ctx, id, &client.GetPacketParams{IfNoneMatch: &tag}); err != nil || p.StatusCode() != http.StatusNotModified {
		t.Errorf("%v %d", err, p.StatusCode())
	}
	temperature := 21.5
	m, err := c.GetMixesWithResponse(ctx, id, &client.GetMixesParams{Temperature: &temperature})
	if err != nil || m.JSON200 == nil || m.JSON200.Temperature != temperature {
		t.Errorf("%v %s", err, m.Body)
	}
	configuration := client.Configuration{Units: "mm", Pattern: "flush-ledge", Outline: client.PlanShape{Shape: "circle", Diameter: number(500)}}
	l, err := c.FindLimitsWithResponse(ctx, configuration)
	if err != nil || l.JSON200 == nil || len(l.JSON200.Numbers) == 0 {
		t.Errorf("%v %s", err, l.Body)
	}
	r, err := c.DeriveBatchWithResponse(ctx, nil, client.Batch{Configurations: []client.Configuration{configuration, configuration}})
	if err != nil || r.JSON200 == nil || len(r.JSON200.Results) != 2 {
		t.Errorf("%v %s", err, r.Body)
	}
	d, err := c.DrawWithResponse(ctx, "model-lid", configuration, func(_ context.Context, r *http.Request) error {
		r.Header.Set("Accept", "model/stl")
		return nil
	})
	if err != nil || sound("model/stl", d.Body) != "" {
		t.Errorf("%v %d", err, d.StatusCode())
	}
}

// TestFilesCompressed asks as a browser does: the compressed drawing bears the
// same tag and is the same once it is unpacked; 304 has no body either way.
func TestFilesCompressed(t *testing.T) {
	b := newBench(t)
	at := b.keep(b.shop, `{"configuration":`+small+`}`).header.Get("Location") + "/drawings/plan"
	plain := b.send(http.MethodGet, at, b.shop, "", "Accept-Encoding", "identity")
	ask := func(headers ...string) *http.Response {
		r, err := http.NewRequest(http.MethodGet, b.server.URL+at, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Authorization", "Bearer "+b.shop)
		r.Header.Set("Accept-Encoding", "gzip")
		for i := 0; i < len(headers); i += 2 {
			r.Header.Set(headers[i], headers[i+1])
		}
		a, err := b.check.next.RoundTrip(r)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = a.Body.Close() })
		return a
	}
	a := ask() //nolint:bodyclose // closed when the test ends
	if a.Header.Get("Content-Encoding") != "gzip" || a.Header.Get("ETag") != plain.header.Get("ETag") {
		t.Fatalf("%v", a.Header)
	}
	z, err := gzip.NewReader(a.Body)
	if err != nil {
		t.Fatal(err)
	}
	if body, err := io.ReadAll(z); err != nil || !bytes.Equal(body, plain.body) {
		t.Errorf("%v %s", err, firstDifference(body, plain.body))
	}
	a = ask("If-None-Match", a.Header.Get("ETag")) //nolint:bodyclose // closed when the test ends
	if body, err := io.ReadAll(a.Body); a.StatusCode != http.StatusNotModified || err != nil || len(body) != 0 || a.Header.Get("Content-Encoding") != "" {
		t.Errorf("%d %v %v", a.StatusCode, a.Header, err)
	}
}
