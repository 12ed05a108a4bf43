package routing

import "slices"

// Reuse is the work when molds of the register are there: by part, the mold's id.
// What builds those molds falls away, templates that they share when none of them
// is built any more; the first pull takes one coat of wax like
// any later one and is no longer the mold's first, and the part occupies the
// registered mold. Steps that waited for what falls away wait for what that
// waited for. The steps given are left as they are.
func Reuse(steps []Step, registered map[string]string) []Step {
	if len(registered) == 0 {
		return slices.Clone(steps)
	}
	building := map[string]bool{} // parts whose molds are built all the same
	for _, s := range steps {
		if _, known := registered[s.Part]; s.Mold && s.Part != "" && !known {
			building[s.Part] = true
		}
	}
	gone := map[string][]string{} // dropped operation: what it waited for
	waxed := map[string]bool{}    // parts whose first pull has its coat
	var out []Step
	for _, s := range steps {
		id, known := registered[s.Part]
		if s.Part == "" && s.Mold && len(building) == 0 {
			gone[s.Key] = s.After
			continue
		}
		if !known {
			out = append(out, s)
			continue
		}
		spare := s.Piece == 1 && s.Kind == waxKind && waxed[s.Part]
		if s.Piece == 1 && s.Kind == waxKind {
			waxed[s.Part] = true
		}
		if s.Mold || spare {
			gone[s.Key] = s.After
			continue
		}
		if s.Operation.Mold != "" {
			s.Registered = id
		}
		s.Risk, s.RiskLabor, s.RiskWait = 0, 0, 0
		out = append(out, s)
	}
	for i := range out {
		out[i].After = without(out[i].After, gone)
	}
	return out
}

const waxKind = "wax_coat"

// without replaces each dropped predecessor by what it waited for.
func without(after []string, gone map[string][]string) []string {
	var out []string
	for _, key := range after {
		if before, dropped := gone[key]; dropped {
			for _, k := range without(before, gone) {
				if !slices.Contains(out, k) {
					out = append(out, k)
				}
			}
		} else if !slices.Contains(out, key) {
			out = append(out, key)
		}
	}
	return out
}
