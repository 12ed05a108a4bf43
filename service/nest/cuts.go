package nest

import "slices"

// Axis is the direction in which a blade runs.
type Axis uint8

const (
	// Rip runs along the sheet's length, at one y.
	Rip Axis = iota
	// Crosscut runs along the sheet's width, at one x.
	Crosscut
)

// String is the cut's name at the saw.
func (a Axis) String() string {
	if a == Rip {
		return "rip"
	}
	return "crosscut"
}

// Cut is one pass of the saw, from edge to edge of the part it is made in. The
// part below or left of it ends at At, the one above or right of it begins at
// At + Kerf; a rest thinner than the kerf is dust. A trim cut removes the edge:
// its blade lies on the side that is thrown away.
type Cut struct {
	Axis     Axis
	At       float64 // mm: y of a rip, x of a crosscut, near edge of the blade
	From, To float64 // mm: the part's extent along the cut
	Stage    int     // 0 for the trim; each change of direction adds one
}

// region is a part of the sheet, in grid steps, kerf included on the right and
// above.
type region struct{ x0, y0, x1, y1 float64 }

// item is a rectangle to be cut free.
type item struct{ x0, y0, x1, y1 float64 }

// sawyer turns a layout into cuts.
type sawyer struct {
	p    *problem
	cuts []Cut
	dry  bool // only tell whether the cuts exist
	rest item // largest part without an item seen so far
}

// waste notes a part that holds no item.
func (s *sawyer) waste(x0, y0, x1, y1 float64) {
	w := item{x0, y0, x1, y1}
	k := s.p.kerf
	if x1-x0 > k && y1-y0 > k && (s.rest == item{} || netArea(w, k) > netArea(s.rest, k)) {
		s.rest = w
	}
}

// list appends the cuts that free every item of the region, rips before
// crosscuts where both are possible. It reports false when the items cannot be
// freed by guillotine cuts.
func (s *sawyer) list(r region, items []item, stage int) bool {
	if len(items) == 0 {
		return true
	}
	if len(items) == 1 {
		s.free(r, items[0], stage)
		return true
	}
	for _, axis := range [2]Axis{Rip, Crosscut} {
		if parted(items, axis) {
			return s.each(r, items, axis, stage)
		}
	}
	return false
}

// parted sorts the items along the axis and reports whether any line parts them.
func parted(items []item, axis Axis) bool {
	sortAcross(items, axis)
	_, end := across(items[0], axis)
	for _, it := range items[1:] {
		lo, hi := across(it, axis)
		if lo >= end {
			return true
		}
		end = max(end, hi)
	}
	return false
}

// each makes every cut along the axis that passes between the (sorted) items
// and goes on in the slabs.
func (s *sawyer) each(r region, items []item, axis Axis, stage int) bool {
	type slab struct {
		r     region
		items []item
	}
	var slabs []slab
	lo, hi := r.y0, r.y1
	if axis == Crosscut {
		lo, hi = r.x0, r.x1
	}
	for first := 0; first < len(items); {
		start, end := across(items[first], axis)
		last := first + 1
		for ; last < len(items); last++ {
			a, b := across(items[last], axis)
			if a >= end {
				break
			}
			end = max(end, b)
		}
		if start > lo {
			s.cut(r, axis, start-s.p.kerf, stage)
			s.between(r, axis, lo, start)
		}
		if end < hi {
			s.cut(r, axis, end-s.p.kerf, stage)
		}
		part := r
		if axis == Rip {
			part.y0, part.y1 = start, end
		} else {
			part.x0, part.x1 = start, end
		}
		slabs = append(slabs, slab{part, items[first:last]})
		// what lies beyond is still in one piece
		if axis == Rip {
			r.y0 = end
		} else {
			r.x0 = end
		}
		lo = end
		first = last
	}
	s.between(r, axis, lo, hi)
	for _, b := range slabs {
		if !s.list(b.r, b.items, stage+1) {
			return false
		}
	}
	return true
}

// between notes the slab of the region from lo to hi along the axis as waste.
func (s *sawyer) between(r region, axis Axis, lo, hi float64) {
	if axis == Rip {
		s.waste(r.x0, lo, r.x1, hi)
	} else {
		s.waste(lo, r.y0, hi, r.y1)
	}
}

// free cuts a single item out of its region.
func (s *sawyer) free(r region, it item, stage int) {
	k := s.p.kerf
	s.waste(r.x0, r.y0, r.x1, it.y0)
	s.waste(r.x0, it.y1, r.x1, r.y1)
	s.waste(r.x0, it.y0, it.x0, it.y1)
	s.waste(it.x1, it.y0, r.x1, it.y1)
	if it.y0 > r.y0 {
		s.cut(r, Rip, it.y0-k, stage)
		r.y0 = it.y0
	}
	if it.y1 < r.y1 {
		s.cut(r, Rip, it.y1-k, stage)
		r.y1 = it.y1
		stage++
	}
	if it.x0 > r.x0 {
		s.cut(r, Crosscut, it.x0-k, stage)
		r.x0 = it.x0
	}
	if it.x1 < r.x1 {
		s.cut(r, Crosscut, it.x1-k, stage)
	}
}

// cut notes a cut at a grid position of the usable sheet.
func (s *sawyer) cut(r region, axis Axis, at float64, stage int) {
	if s.dry {
		return
	}
	from, to := r.x0, r.x1
	if axis == Crosscut {
		from, to = r.y0, r.y1
	}
	t := s.p.trim
	s.cuts = append(s.cuts, Cut{axis, offGrid(at + t), offGrid(from + t), offGrid(to - s.p.kerf + t), stage})
}

func across(it item, axis Axis) (lo, hi float64) {
	if axis == Rip {
		return it.y0, it.y1
	}
	return it.x0, it.x1
}

func sortAcross(items []item, axis Axis) {
	slices.SortFunc(items, func(a, b item) int {
		a0, a1 := across(a, axis)
		b0, b1 := across(b, axis)
		switch {
		case a0 < b0:
			return -1
		case a0 > b0:
			return 1
		case a1 < b1:
			return -1
		case a1 > b1:
			return 1
		}
		return 0
	})
}
