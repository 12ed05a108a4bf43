package api

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/service/part"
)

// endingPattern tells a pattern that holds the whole of a text and lets none of any length
// through.
func endingPattern(p string) bool {
	return strings.HasPrefix(p, "^") && strings.HasSuffix(p, "$") && !regexp.MustCompile(`[^\\][+*]|\{[0-9]+,\}`).MatchString(p)
}

// inTable tells figures of a configuration: their ranges are of the table, in the units of
// the document that they come in. TestFiguresHaveARange holds the service to them.
func inTable(at string) bool {
	if regexp.MustCompile(`/outline/corners/\*/(x|y|radius)$`).MatchString(at) {
		return true
	}
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if strings.HasSuffix(at, p.Pointer) && p.IsNumber() && !math.IsInf(p.Min, 0) && !math.IsInf(p.Max, 0) && p.Min < p.Max {
			return true
		}
	}
	return false
}

// Every figure of a configuration is refused below and above its range, in either system
// of units, with its pointer and the range.
func TestFiguresHaveARange(t *testing.T) {
	for i := range part.Parameters {
		p := &part.Parameters[i]
		if !p.IsNumber() {
			continue
		}
		for _, units := range []string{"mm", "in"} {
			for what, v := range map[string]float64{"below": p.Min - 1, "above": p.Max + 1} {
				t.Run(units+" "+p.Pointer+" "+what, func(t *testing.T) {
					tree := map[string]any{"units": units}
					into := tree
					group, key, ok := strings.Cut(p.Pointer[1:], "/")
					if ok {
						into = map[string]any{}
						tree[group] = into
					} else {
						key = group
					}
					into[key] = v
					_, fields := crossConfiguration(tree, "")
					if len(fields) != 1 {
						t.Fatalf("%v is refused with %v, want one fault", v, fields)
					}
					if f := fields[0]; f.Pointer != p.Pointer || f.Code != "out_of_range" {
						t.Errorf("%v: %s at %s, want out_of_range at %s", v, f.Code, f.Pointer, p.Pointer)
					}
				})
			}
		}
	}
}

// Everything that a request can hold has an end that the document says: a list has
// maxItems, an object with keys of the caller's maxProperties, a text maxLength, an enum
// or a form of fixed length, and a number a range. What sizes memory or time is bounded so
// before anything is done with it; checkSchema refuses what is beyond.
func TestRequestsAreBounded(t *testing.T) {
	doc, err := openapi.Document()
	if err != nil {
		t.Fatal(err)
	}
	bounded := 0
	seen := map[string]bool{}
	var walk func(at string, s *openapi3.Schema)
	walk = func(at string, s *openapi3.Schema) {
		if seen[at] || len(at) > 400 {
			return
		}
		seen[at] = true
		fails := func(what string) { t.Errorf("%s: %s in the document", at, what) }
		for i, list := range []openapi3.SchemaRefs{s.AllOf, s.OneOf, s.AnyOf} {
			for k, part := range list {
				walk(fmt.Sprintf("%s (%d.%d)", at, i, k), part.Value)
			}
		}
		composed := len(s.AllOf)+len(s.OneOf)+len(s.AnyOf) > 0
		switch {
		case composed && s.Type == nil:
		case s.Type.Is("array"):
			bounded++
			if s.MaxItems == nil {
				fails("no maxItems")
			}
			if s.Items != nil {
				walk(at+"/*", s.Items.Value)
			}
		case s.Type.Is("object"):
			for key, p := range s.Properties {
				walk(at+"/"+key, p.Value)
			}
			if more := s.AdditionalProperties; more.Schema != nil {
				bounded++
				if s.MaxProps == nil {
					fails("no maxProperties")
				}
				walk(at+"/{}", more.Schema.Value)
			} else if (more.Has == nil || *more.Has) && s.MaxProps == nil {
				fails("any other member may come, without maxProperties")
			}
		case s.Type.Is("string"):
			bounded++
			if s.MaxLength == nil && len(s.Enum) == 0 && s.Format != "uuid" && s.Format != "date" && s.Format != "date-time" && !endingPattern(s.Pattern) {
				fails("no maxLength, enum or form of fixed length")
			}
		case s.Type.Is("number"), s.Type.Is("integer"):
			bounded++
			if (s.Min == nil || s.Max == nil) && !inTable(at) {
				fails("no range")
			}
		case s.Type.Is("boolean"):
		default:
			fails(fmt.Sprintf("type %v", s.Type))
		}
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			for _, list := range []openapi3.Parameters{item.Parameters, op.Parameters} {
				for _, p := range list {
					walk(method+" "+path+" ?"+p.Value.Name, p.Value.Schema.Value)
				}
			}
			if op.RequestBody != nil {
				for _, m := range op.RequestBody.Value.Content {
					walk(method+" "+path+" ", m.Schema.Value)
				}
			}
		}
	}
	if bounded < 300 {
		t.Errorf("only %d bounds were looked at: is the document whole?", bounded)
	}
}
