package derivation

import (
	"hatchwright/service/part"
	"hatchwright/service/tooling"
)

// shared stands for templates that the molds of several parts are cut from.
const shared part.Part = ""

// templatesOf counts the templates to make by the part whose mold they are for,
// from the steps at the router: a board's template, and what that was made from
// back to the drawing, are for the board's part. What nothing is cut from
// counts as shared.
func templatesOf(r *Result) map[part.Part]int {
	madeFrom := make(map[string]string, len(r.Templates))
	for _, t := range r.Templates {
		madeFrom[t.Name] = t.MadeFrom
	}
	parts := make(map[string]map[part.Part]bool, len(r.Templates))
	for _, s := range r.Steps {
		if s.Board == 0 {
			continue // a template
		}
		// As long as the chain goes on; a template is made from an earlier one.
		for name, left := s.From, len(madeFrom); left > 0 && name != tooling.Drawn; left-- {
			from, known := madeFrom[name]
			if !known {
				break
			}
			if parts[name] == nil {
				parts[name] = map[part.Part]bool{}
			}
			parts[name][s.Part] = true
			name = from
		}
	}
	count := map[part.Part]int{}
	for _, t := range r.Templates {
		of := shared
		if len(parts[t.Name]) == 1 {
			for p := range parts[t.Name] {
				of = p
			}
		}
		count[of]++
	}
	return count
}
