package nest

import (
	"cmp"
	"slices"
)

// arrange turns the pieces of one sheet, placed in spots, into a layout with
// its offcut and cut list.
func (k *packer) arrange(set []int32, board int32, panels []Panel, stock []Sheet) Layout {
	b := &k.boards[board]
	out := Layout{Sheet: stock[b.sheet], Placements: make([]Placement, 0, len(set))}
	items := make([]item, 0, len(set)+1)
	area := 0.0
	for _, i := range set {
		pc, sp := &k.pieces[i], k.spots[i]
		l, w := pc.l, pc.w
		q := &panels[pc.panel]
		pl := Placement{Panel: q.Name, Index: int(pc.panel), X: offGrid(sp.x + k.trim), Y: offGrid(sp.y + k.trim), Length: q.Length, Width: q.Width, Turned: sp.turned != pc.stood}
		if sp.turned {
			l, w = w, l
		}
		if pl.Turned {
			pl.Length, pl.Width = pl.Width, pl.Length
		}
		items = append(items, item{sp.x, sp.y, sp.x + l, sp.y + w})
		out.Placements = append(out.Placements, pl)
		area += float64(q.Length * q.Width)
	}
	out.Utilization = area / float64(out.Sheet.Length*out.Sheet.Width)
	slices.SortFunc(out.Placements, func(a, b Placement) int {
		return cmp.Or(cmp.Compare(a.Y, b.Y), cmp.Compare(a.X, b.X))
	})
	whole := region{0, 0, b.l, b.w}
	s := sawyer{p: k.problem, cuts: make([]Cut, 0, 2*len(set)+8)}
	if t := k.trim; t > 0 {
		l, w := b.l-k.kerf, b.w-k.kerf
		s.cut(region{-t, 0, l + t + k.kerf, 0}, Rip, -k.kerf, 0)
		s.cut(region{-t, 0, l + t + k.kerf, 0}, Rip, w, 0)
		s.cut(region{0, 0, 0, b.w}, Crosscut, -k.kerf, 0)
		s.cut(region{0, 0, 0, b.w}, Crosscut, l, 0)
	}
	if best, ok := k.offcut(whole, items); ok {
		items = append(items, best)
		out.Offcut = Offcut{offGrid(best.x0 + k.trim), offGrid(best.y0 + k.trim), offGrid(best.x1 - best.x0 - k.kerf), offGrid(best.y1 - best.y0 - k.kerf)}
	}
	s.list(whole, items, 1)
	out.Cuts = s.cuts
	return out
}

// offcutTries is how many rectangles are tried as the offcut of a sheet. Most
// layouts need one or two; beyond, the largest part the plain cut list leaves
// is good enough.
const offcutTries = 100

// offcut is the largest free rectangle that can be left in one piece while the
// items are cut free by guillotine cuts. It looks at the maximal empty
// rectangles, largest first; one that stands in the way of every first cut is
// replaced by its parts on either side of each item's edges.
func (k *packer) offcut(r region, items []item) (item, bool) {
	check := sawyer{p: k.problem, dry: true}
	with := append(make([]item, 0, len(items)+1), items...)
	check.list(r, with, 0)
	best := check.rest
	floor := 0.0
	if best != (item{}) {
		floor = netArea(best, k.kerf)
	}
	var tried map[item]bool
	open := maximalEmpty(r, items, k.kerf)
	for range offcutTries {
		at := -1
		most := floor
		for i, e := range open {
			if a := netArea(e, k.kerf); a > most {
				at, most = i, a
			}
		}
		if at < 0 {
			break
		}
		e := open[at]
		open[at] = open[len(open)-1]
		open = open[:len(open)-1]
		with = append(append(with[:0], items...), e)
		if check.list(r, with, 0) {
			return e, true
		}
		if tried == nil {
			tried = make(map[item]bool)
		}
		add := func(c item) {
			if c.x1-c.x0 > k.kerf && c.y1-c.y0 > k.kerf && netArea(c, k.kerf) > floor && !tried[c] {
				tried[c] = true
				open = append(open, c)
			}
		}
		for _, it := range items {
			for _, x := range [2]float64{it.x0, it.x1} {
				if x > e.x0 && x < e.x1 {
					add(item{e.x0, e.y0, x, e.y1})
					add(item{x, e.y0, e.x1, e.y1})
				}
			}
			for _, y := range [2]float64{it.y0, it.y1} {
				if y > e.y0 && y < e.y1 {
					add(item{e.x0, e.y0, e.x1, y})
					add(item{e.x0, y, e.x1, e.y1})
				}
			}
		}
	}
	return best, best != (item{})
}

func netArea(e item, kerf float64) float64 { return (e.x1 - e.x0 - kerf) * (e.y1 - e.y0 - kerf) }

// maximalEmpty is every rectangle in r that overlaps no item, is larger than
// the kerf both ways and cannot grow. Each item in turn replaces the
// rectangles it overlaps by the up to four that remain around it.
func maximalEmpty(r region, items []item, kerf float64) []item {
	out := []item{{r.x0, r.y0, r.x1, r.y1}}
	var next []item
	for _, it := range items {
		next = next[:0]
		for _, e := range out {
			if it.x0 >= e.x1 || it.x1 <= e.x0 || it.y0 >= e.y1 || it.y1 <= e.y0 {
				next = append(next, e)
			}
		}
		untouched := len(next)
		for _, e := range out {
			if it.x0 >= e.x1 || it.x1 <= e.x0 || it.y0 >= e.y1 || it.y1 <= e.y0 {
				continue
			}
			for _, c := range [4]item{
				{e.x0, e.y0, it.x0, e.y1}, {it.x1, e.y0, e.x1, e.y1},
				{e.x0, e.y0, e.x1, it.y0}, {e.x0, it.y1, e.x1, e.y1},
			} {
				if c.x1-c.x0 > kerf && c.y1-c.y0 > kerf {
					next = append(next, c)
				}
			}
		}
		out, next = prune(next, untouched), out
	}
	return out
}

// prune drops the rectangles from index first on that lie within another.
func prune(a []item, first int) []item {
	kept := a[:first]
	for i := first; i < len(a); i++ {
		c := a[i]
		inside := slices.ContainsFunc(kept, func(o item) bool { return within(c, o) }) ||
			slices.ContainsFunc(a[i+1:], func(o item) bool { return c != o && within(c, o) })
		if !inside {
			kept = append(kept, c)
		}
	}
	return kept
}

func within(a, b item) bool { return a.x0 >= b.x0 && a.y0 >= b.y0 && a.x1 <= b.x1 && a.y1 <= b.y1 }
