package derivation

import (
	"slices"
	"testing"

	"hatchwright/service/part"
	"hatchwright/service/routing"
	"hatchwright/service/tooling"
)

// Every template is made once, on a part's bench or for several; outlines wait for
// what they are cut from; and the work grows with the templates. The sources of the
// templates are followed here on their own.
func TestTemplatesAreMade(t *testing.T) {
	e := engine(t)
	least, most := 1<<30, 0
	for _, pattern := range part.Patterns {
		request := ask(t, rectangle(520, 380, 60))
		request.Pattern = pattern
		r := derive(t, e, request)
		if !r.Makeable() {
			t.Fatalf("%s: %v", pattern, r.Findings)
		}
		names := map[string]bool{}
		for _, k := range r.Templates {
			if names[k.Name] {
				t.Errorf("%s: two templates are called %q", pattern, k.Name)
			}
			if !names[k.MadeFrom] && k.MadeFrom != tooling.Drawn {
				t.Errorf("%s: %q is made from %q, which is none made before", pattern, k.Name, k.MadeFrom)
			}
			names[k.Name] = true
		}
		made := 0.0
		var shared *routing.Step
		for i, s := range r.LeadTime.Steps {
			if s.Kind != "make_template" {
				continue
			}
			made += s.Driver
			if s.Part == "" {
				shared = &r.LeadTime.Steps[i]
				continue
			}
			if shared != nil && !slices.Contains(s.After, shared.Key) {
				t.Errorf("%s: %q does not wait for %q", pattern, s.Key, shared.Key)
			}
		}
		if made != float64(len(r.Templates)) || made == 0 {
			t.Errorf("%s: %v templates are made of %d", pattern, made, len(r.Templates))
		}
		least, most = min(least, len(r.Templates)), max(most, len(r.Templates))
		for _, s := range r.LeadTime.Steps {
			if s.Kind == "cut_outline" && s.Driver > 0 && !slices.ContainsFunc(s.After, func(key string) bool {
				return key == s.Part+" mold templates" || shared != nil && key == shared.Key
			}) {
				t.Errorf("%s: %q waits for no template: %q", pattern, s.Key, s.After)
			}
		}
	}
	if least == most {
		t.Errorf("every pattern has %d templates: growth is not shown", most)
	}
}
