package main

import (
	"encoding/json"
	"net/http"
	"regexp"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// pool is what the fuzzer has learned from answers: ids, names and validators by what
// they are of. The newest ones stay.
type pool struct {
	values map[string][]string
	next   map[string]int
}

// poolSize is how many values of a kind are kept.
const poolSize = 48

func newPool() *pool { return &pool{values: map[string][]string{}, next: map[string]int{}} }

func (p *pool) put(kind, value string) {
	if value == "" || len(value) > 300 || slices.Contains(p.values[kind], value) {
		return
	}
	if len(p.values[kind]) < poolSize {
		p.values[kind] = append(p.values[kind], value)
		return
	}
	p.values[kind][p.next[kind]%poolSize] = value
	p.next[kind]++
}

// singular turns the name of a collection into that of one of its members.
func singular(s string) string {
	switch {
	case strings.HasSuffix(s, "ies"):
		return strings.TrimSuffix(s, "ies") + "y"
	case strings.HasSuffix(s, "s"):
		return strings.TrimSuffix(s, "s")
	}
	return s
}

// keepObjects keeps the objects of a body that was good, by their schemas.
func (w *fuzzer) keepObjects(tree any, schema *openapi3.Schema) {
	for _, s := range spots(tree, schema) {
		if _, ok := s.value.(map[string]any); ok && s.schema != nil && len(w.objects[s.schema]) < 24 {
			w.objects[s.schema] = append(w.objects[s.schema], s.value)
		}
	}
}

var anyID = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{12}$`)

// learn takes ids, names and validators out of an answer, and keeps a body that was
// taken among the samples.
func (w *fuzzer) learn(q *drawn, header http.Header, body []byte) {
	route := q.operation.route
	path, _, _ := strings.Cut(q.target, "?")
	if tag := header.Get("ETag"); tag != "" {
		at := path
		if l := header.Get("Location"); strings.HasPrefix(l, "/") {
			at = l
		}
		w.pool.put("etag", tag)
		w.pool.values["etag "+thing(at)] = []string{tag}
	}
	if q.tree != nil && w.documents[route.Path] == nil && w.sent%5 == 0 {
		w.keepObjects(q.tree, q.operation.body)
	}
	if q.tree != nil && q.operation.route.Method != http.MethodPut && len(q.operation.samples) > 0 && w.documents[route.Path] == nil {
		// Few of those that were taken, and not always: the document's own are the base.
		if o := q.operation; len(o.samples) < o.own+6 {
			o.samples = append(o.samples, q.tree)
		} else if w.sent%7 == 0 {
			o.samples[o.own+w.sent/7%6] = q.tree
		}
	}
	if !strings.Contains(header.Get("Content-Type"), "json") || route.Path == "/openapi.json" || len(body) > 1<<20 {
		return
	}
	var tree any
	if json.Unmarshal(body, &tree) != nil {
		return
	}
	parts := strings.Split(route.Path, "/")
	collection := ""
	for _, p := range parts {
		if p != "" && !strings.HasPrefix(p, "{") {
			collection = p
		}
	}
	// What a collection is asked about answers with a member; so does what is done to one.
	if len(parts) > 3 && strings.HasPrefix(parts[3], "{") && len(parts) <= 5 && !strings.HasPrefix(route.Path, "/v1/shop") {
		if _, list := tree.(map[string]any)["items"]; !list {
			collection = parts[2]
		}
	}
	if cursor, _ := tree.(map[string]any)["next_cursor"].(string); cursor != "" {
		w.pool.put("cursor "+route.Path, cursor)
	}
	w.harvest(tree, singular(collection), "")
}

// harvest walks a value. of is what an object here is, owner the id of the object that
// it stands in.
func (w *fuzzer) harvest(value any, of, owner string) {
	switch v := value.(type) {
	case []any:
		for _, x := range v[:min(len(v), 20)] {
			w.harvest(x, of, owner)
		}
	case map[string]any:
		if id, ok := v["id"].(string); ok && anyID.MatchString(id) {
			if w.protected[id] {
				return
			}
			owner = id
		}
		for _, key := range sortedKeys(v) {
			switch x := v[key].(type) {
			case string:
				switch {
				case key == "id" || key == "key" || key == "name":
					if strings.HasPrefix(x, "hw_") {
						continue
					}
					w.pool.put(of, x)
					w.pool.put(of+" of "+owner, x)
				case strings.HasSuffix(key, "_id"):
					if !w.protected[x] {
						w.pool.put(strings.TrimSuffix(key, "_id"), x)
					}
				default:
					w.pool.put(key, x)
				}
			case []any:
				inner := singular(key)
				if key == "items" {
					inner = of
				}
				w.harvest(x, inner, owner)
			case map[string]any:
				w.harvest(x, key, owner)
			}
		}
	}
}

func sortedKeys(m map[string]any) []string {
	out := make([]string, 0, len(m))
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// thing is the path of the thing that a path is about: what is done to it stands behind.
func thing(path string) string {
	parts := strings.Split(path, "/")
	for i, p := range parts {
		if anyID.MatchString(p) {
			return strings.Join(parts[:i+1], "/")
		}
	}
	return path
}
