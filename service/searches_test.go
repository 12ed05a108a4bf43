package service_test

import (
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"hatchwright/api"
)

// While as many searches run as may, another one is refused with 503 and the time to
// wait; what needs none is answered, and once there is a place all are.
func TestSearchesWaitTheirTurn(t *testing.T) {
	s := start(t, open(t))
	made, err := s.Bootstrap(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	surface, err := api.New(api.Options{Service: s})
	if err != nil {
		t.Fatal(err)
	}
	send := func(method, path, body string) *httptest.ResponseRecorder {
		r := httptest.NewRequest(method, path, strings.NewReader(body))
		r.Header.Set("Authorization", "Bearer "+made.ShopKey)
		r.Header.Set("Content-Type", "application/json")
		w := httptest.NewRecorder()
		surface.ServeHTTP(w, r)
		return w
	}
	const hatch = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60}`
	const plain, auto = hatch + "}", hatch + `,"laminate":{"schedule":"auto"}}`
	kept := map[string]string{}
	for name, body := range map[string]string{"plain": plain, "auto": auto} {
		w := send(http.MethodPost, "/v1/configurations", `{"configuration":`+body+`}`)
		if w.Code != http.StatusCreated {
			t.Fatalf("%d %.300s", w.Code, w.Body)
		}
		kept[name] = w.Header().Get("Location")
	}
	asked := []struct {
		method, path, body string
		search             bool
	}{
		{http.MethodPost, "/v1/check", plain, false},
		{http.MethodPost, "/v1/derive", plain, false},
		{http.MethodPost, "/v1/drawings/plan", plain, false},
		{http.MethodGet, kept["plain"] + "/drawings/plan", "", false},
		{http.MethodGet, kept["auto"] + "/derivation", "", false}, // it was kept
		{http.MethodPost, "/v1/check", auto, true},
		{http.MethodPost, "/v1/derive", auto, true},
		{http.MethodPost, "/v1/drawings/plan", auto, true},
		{http.MethodPost, "/v1/configurations", `{"configuration":` + auto + `}`, true},
		{http.MethodPost, "/v1/quotes", `{"lines":[{"configuration":` + auto + `}]}`, true},
		{http.MethodPost, "/v1/limits", plain, true},
		{http.MethodGet, kept["plain"] + "/packet", "", true},
		{http.MethodGet, kept["auto"] + "/drawings/plan", "", true},
	}
	// Many pieces take as long as a search, in one line or in several.
	const many, few = hatch + `,"quantity":20}`, hatch + `,"quantity":19}`
	quote := func(lines ...string) string { return `{"lines":[` + strings.Join(lines, ",") + `]}` }
	line := func(n string) string { return `{"configuration":` + plain + `,"quantity":` + n + `}` }
	quoted := map[string]string{}
	for name, body := range map[string]string{"few": quote(line("19")), "many": quote(line("10"), line("10"))} {
		w := send(http.MethodPost, "/v1/quotes", body)
		if w.Code != http.StatusCreated {
			t.Fatalf("%d %.300s", w.Code, w.Body)
		}
		quoted[name] = strings.TrimPrefix(w.Header().Get("Location"), "/v1/quotes/")
	}
	type ask = struct {
		method, path, body string
		search             bool
	}
	asked = append(asked, ask{http.MethodPost, "/v1/derive", few, false}, ask{http.MethodPost, "/v1/derive", many, true}, ask{http.MethodPost, "/v1/check", many, false},
		ask{http.MethodPost, "/v1/derive?shorten=true", few, true}, ask{http.MethodPost, "/v1/configurations", `{"configuration":` + many + `}`, true},
		ask{http.MethodPost, "/v1/quotes", quote(line("19")), false}, ask{http.MethodPost, "/v1/quotes", quote(line("10"), line("10")), true})
	release := s.HoldSearches(time.Millisecond)
	for _, c := range asked {
		w := send(c.method, c.path, c.body)
		busy := w.Code == http.StatusServiceUnavailable && w.Header().Get("Retry-After") == "2" && strings.Contains(w.Body.String(), `"/problems/busy"`)
		if busy != c.search || !busy && w.Code >= 300 {
			t.Errorf("%s %s: %d %.300s", c.method, c.path, w.Code, w.Body)
		}
	}
	for name, want := range map[string]int{"few": http.StatusCreated, "many": http.StatusServiceUnavailable} {
		if w := send(http.MethodPost, "/v1/orders", `{"quote_id":"`+quoted[name]+`"}`); w.Code != want {
			t.Errorf("an order of %s pieces while no search may begin: status %d, want %d: %.300s", name, w.Code, want, w.Body)
		}
	}
	release()
	for _, c := range asked {
		if w := send(c.method, c.path, c.body); w.Code >= 300 {
			t.Errorf("%s %s, with a place: %d %.300s", c.method, c.path, w.Code, w.Body)
		}
	}
}
