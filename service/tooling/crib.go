package tooling

import (
	"cmp"
	"math"
	"slices"

	"hatchwright/service/shop"
)

// tool is a bit that trims flush: its bearing is as wide as its cutter, at the
// bearing's end where the bit is tapered.
type tool struct {
	key      string
	diameter float64
	length   float64 // that it cuts
	draft    float64 // 0: straight, deg
}

// passes is how many depths a wall is cut in: the bearing rides on the wall
// already cut.
func (t tool) passes(height float64) int {
	return max(1, int(math.Ceil(height/t.length-lengthSlack)))
}

// rabbetStep is what a rabbeting bit with one of its bearings takes off:
//
//	size = (cutter - bearing)/2
type rabbetStep struct {
	size    float64
	bit     string
	bearing float64
}

// move is a pair of templates cut from one: a steps lead from it to the first, b
// to the second. Templates only get smaller, so a difference in size that no sum
// of steps makes may still be the difference of two sums.
//
//	          ┌── a ──> first
//	common ───┤
//	          └── b ──> second, inside the first by value = sum(b) - sum(a)
type move struct {
	value float64
	up    float64 // sum(a): how far outside the first the common one is
	na    uint8
	nb    uint8
	a, b  [mostSteps]uint8 // indices of steps
}

// Crib is a shop's router bits, prepared: what they can cut, and every difference
// in size that a few rabbets can make. It does not change and may be shared.
type Crib struct {
	practice Practice
	flush    []tool // straight
	tapered  []tool
	rounds   []shop.Bit
	rabbets  []shop.Bit
	steps    []rabbetStep // distinct sizes, largest first
	limit    int          // steps that moves are known to
	moves    [][]move     // by steps taken, each by value
	reach    []float64    // values of all moves, distinct, ascending
	// sheetLong and sheetShort are the sides that every stocked sheet has after
	// its trim: a panel within them needs no look at its own sheet.
	sheetLong  float64
	sheetShort float64
	shortest   float64 // that any flush trimming bit cuts, mm
}

const (
	// mostSteps is the most rabbets that one difference in size is made of: each
	// adds its error, and past four an outline laid out anew is as good.
	mostSteps = 4
	// mostTools is how many flush-trimming bits are told apart: the width of a set.
	mostTools = 64
	// mostMoves bounds the table of moves; a crib with so many bearings that four
	// steps pass it is searched to fewer.
	mostMoves = 60_000
	// sameSize is how near two sizes are the same one, mm: far below what a bit is
	// ground to, far above float64 noise on sums of a few steps.
	sameSize = 1e-6
	// lengthSlack keeps a wall as high as the bit cuts within one pass.
	lengthSlack = 1e-9
	// sameDraft is how near a bit's taper is the wall's draft, deg: over 150 mm of
	// wall 0.01 deg is 0.03 mm.
	sameDraft = 0.01
)

// NewCrib prepares a shop's bits.
func NewCrib(p *shop.Profile) *Crib {
	c := &Crib{practice: PracticeOf(p.Tooling), sheetLong: math.Inf(1), sheetShort: math.Inf(1), shortest: math.Inf(1)}
	for _, s := range p.Sheets {
		c.sheetLong = math.Min(c.sheetLong, math.Max(s.Length, s.Width)-2*p.Tooling.SheetTrim)
		c.sheetShort = math.Min(c.sheetShort, math.Min(s.Length, s.Width)-2*p.Tooling.SheetTrim)
	}
	for _, b := range p.Crib {
		switch b.Kind {
		case shop.FlushTrim, shop.Tapered:
			if !flush(b) {
				continue
			}
			t := tool{b.Key, b.Diameter, b.CuttingLength, b.Draft}
			if b.Kind == shop.Tapered {
				c.tapered = append(c.tapered, t)
			} else {
				c.flush = append(c.flush, t)
			}
		case shop.RoundOver:
			c.rounds = append(c.rounds, b)
		case shop.Rabbet:
			c.rabbets = append(c.rabbets, b)
			for _, bearing := range b.Bearings {
				switch size := (b.Diameter - bearing) / 2; {
				case math.Abs(size) <= sameSize:
					c.flush = append(c.flush, tool{b.Key, b.Diameter, b.CuttingLength, 0})
				case size > 0:
					c.steps = append(c.steps, rabbetStep{size, b.Key, bearing})
				}
			}
		}
	}
	for _, list := range [...][]tool{c.flush, c.tapered} {
		for _, t := range list {
			c.shortest = math.Min(c.shortest, t.length)
		}
	}
	slices.SortStableFunc(c.tapered, func(a, b tool) int { return cmp.Compare(a.draft, b.draft) })
	slices.SortStableFunc(c.rounds, func(a, b shop.Bit) int { return cmp.Compare(a.Radius, b.Radius) })
	slices.SortStableFunc(c.steps, func(a, b rabbetStep) int { return cmp.Compare(b.size, a.size) })
	c.steps = slices.CompactFunc(c.steps, func(a, b rabbetStep) bool { return math.Abs(a.size-b.size) <= sameSize })
	if len(c.flush) == 0 {
		c.steps = nil // nothing trims what a rabbet leaves
	}
	if len(c.steps) > math.MaxUint8 {
		c.steps = c.steps[:math.MaxUint8]
	}
	c.limit = mostSteps
	for c.limit > 1 && vectors(len(c.steps), c.limit) > mostMoves {
		c.limit--
	}
	c.moves = make([][]move, c.limit+1)
	c.enumerate(0, c.limit, move{})
	for k := range c.moves {
		c.moves[k] = distinct(c.moves[k])
		for _, m := range c.moves[k] {
			c.reach = append(c.reach, m.value)
		}
	}
	slices.Sort(c.reach)
	c.reach = slices.CompactFunc(c.reach, func(a, b float64) bool { return math.Abs(b-a) <= sameSize })
	return c
}

// flush reports whether a bit has a bearing as wide as its cutter; a bit that
// lists none has that one.
func flush(b shop.Bit) bool {
	for _, bearing := range b.Bearings {
		if math.Abs(bearing-b.Diameter) <= sameSize {
			return true
		}
	}
	return len(b.Bearings) == 0
}

// vectors counts the vectors of d whole numbers whose absolute values sum to at
// most k:
//
//	sum over j of 2^j C(d, j) C(k, j)
func vectors(d, k int) float64 {
	sum, term := 0.0, 1.0
	for j := 0; j <= min(d, k); j++ {
		sum += term
		term *= 2 * float64(d-j) / float64(j+1) * float64(k-j) / float64(j+1)
	}
	return sum
}

// enumerate records every move with the given steps so far, steps from i on, and
// at most left of them. A step never stands on both sides: it would be taken
// before the two part.
func (c *Crib) enumerate(i, left int, m move) {
	if i == len(c.steps) || left == 0 {
		k := int(m.na + m.nb)
		c.moves[k] = append(c.moves[k], m)
		return
	}
	c.enumerate(i+1, left, m)
	size := c.steps[i].size
	for side := range 2 {
		next := m
		for n := 1; n <= left; n++ {
			if side == 0 {
				next.a[next.na] = uint8(i)
				next.na++
				next.up += size
				next.value -= size
			} else {
				next.b[next.nb] = uint8(i)
				next.nb++
				next.value += size
			}
			c.enumerate(i+1, left-n, next)
		}
	}
}

// distinct sorts moves by value and keeps one of those that lead to the same
// places with the same number of steps.
func distinct(list []move) []move {
	grain := func(x float64) float64 { return math.Round(x / sameSize) }
	slices.SortStableFunc(list, func(a, b move) int {
		return cmp.Or(cmp.Compare(grain(a.value), grain(b.value)), cmp.Compare(grain(a.up), grain(b.up)), cmp.Compare(a.na, b.na))
	})
	return slices.CompactFunc(list, func(a, b move) bool {
		return grain(a.value) == grain(b.value) && grain(a.up) == grain(b.up) && a.na == b.na
	})
}

// between returns the moves of k steps whose value is from lo to hi.
func (c *Crib) between(k int, lo, hi float64) []move {
	list := c.moves[k]
	i, j := 0, len(list)
	for i < j {
		if m := (i + j) / 2; list[m].value < lo-sameSize {
			i = m + 1
		} else {
			j = m
		}
	}
	for j < len(list) && list[j].value <= hi+sameSize {
		j++
	}
	return list[i:j]
}

// nearest returns the differences in size next below or at, and above, d that the
// crib makes; infinite where there is none.
func (c *Crib) nearest(d float64) (below, above float64) {
	i, found := slices.BinarySearch(c.reach, d)
	below, above = math.Inf(-1), math.Inf(1)
	if i > 0 {
		below = c.reach[i-1]
	}
	if i < len(c.reach) {
		above = c.reach[i]
	}
	if found {
		below = d
		above = math.Inf(1)
		if i+1 < len(c.reach) {
			above = c.reach[i+1]
		}
	}
	return below, above
}

// makes reports whether the crib makes a difference in size of d to within
// tolerance.
func (c *Crib) makes(d, tolerance float64) bool {
	below, above := c.nearest(d)
	return d-below <= tolerance+sameSize || above-d <= tolerance+sameSize
}

// taperedFor returns where the tapered bits of a draft stand, and how many.
func (c *Crib) taperedFor(draft float64) (first, n int) {
	for first < len(c.tapered) && math.Abs(c.tapered[first].draft-draft) > sameDraft {
		first++
	}
	for first+n < len(c.tapered) && math.Abs(c.tapered[first+n].draft-draft) <= sameDraft {
		n++
	}
	return first, n
}
