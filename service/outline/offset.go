package outline

import "math"

// Offset returns o with every edge moved d, mm, along its outward normal (d
// negative: inward) and every radius changed to max(r + d, 0). Corners whose
// radius is used up are mitred; an edge that vanishes between two sharp corners
// is dropped.
//
// Errors: *[CollapseError] when inset too far (see the package comment);
// *[DimensionError] when d is not finite; *[DegenerateError] when the result
// would pass [MaxCoordinate].
func (o Outline) Offset(d float64) (Outline, error) {
	switch {
	case !(math.Abs(d) <= MaxCoordinate):
		return Outline{}, &DimensionError{"offset", d}
	case d == 0 || o.IsZero():
		return o, nil
	case d < 0:
		return o.inset(-d)
	}
	out := o
	out.corners = make([]Corner, len(o.corners))
	for i, c := range o.corners {
		out.corners[i] = Corner{c.At.along(mitre(o.dir[o.before(i)], o.dir[i]), d), c.Radius + d}
	}
	out.size = sizeOf(out.corners)
	return out.settled()
}

func (o Outline) inset(e float64) (Outline, error) {
	f := newFront(o)
	f.run(e)
	if !f.stopped {
		f.advance(e)
		f.dropShort()
	}
	if f.stopped {
		largest := f.now
		if largest >= e && f.stopEdge < 0 { // stopped by dropShort just short of it
			largest = o.MaxInset()
		}
		return Outline{}, &CollapseError{Inset: e, Largest: largest, Edge: f.stopEdge}
	}
	var out Outline
	for i, live := range f.live {
		if !live {
			continue
		}
		out.corners = append(out.corners, Corner{f.place(i, e), math.Max(f.sharpAt[i]-e, 0)})
		out.dir = append(out.dir, f.dir[i])
		out.turn = append(out.turn, f.turn[i])
		out.half = append(out.half, f.half[i])
		out.straight = append(out.straight, math.Max(f.straight(i, e), 0))
	}
	out.size = sizeOf(out.corners)
	settled, err := out.settled()
	if err != nil {
		// Too thin or too small to be told from rounding error.
		return Outline{}, &CollapseError{Inset: e, Largest: o.MaxInset(), Edge: -1}
	}
	return settled, nil
}

// settled checks that New would take o's corners, so that every outline there is
// can be written down and read back, and returns o, or what New makes of it when
// that has fewer corners.
func (o Outline) settled() (Outline, error) {
	fresh, err := New(o.corners)
	if err != nil {
		return Outline{}, err
	}
	if len(fresh.corners) != len(o.corners) || !fresh.Equal(o) {
		return fresh, nil
	}
	return o, nil
}

// MaxInset returns the inset, mm, at which o stops being an outline (see
// [CollapseError]): every smaller one works, that one does not. Within rounding
// of it (a billionth of the size) insets are refused too.
func (o Outline) MaxInset() float64 {
	if o.IsZero() {
		return 0
	}
	f := newFront(o)
	f.run(math.Inf(1))
	return f.now
}
