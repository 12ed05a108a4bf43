package schedule

import (
	"slices"
	"time"
)

// board is the shop's free capacity while jobs are placed on it one by one.
type board struct {
	origin time.Time // whole seconds; zero of every int32 clock
	axes   []*axis   // by center
	lanes  [][]lane  // by center, by post
	molds  [][]hold  // by mold, ascending, disjoint
	// reserved is, by mold, the end of a stay that began before the origin.
	reserved []int32
	longest  int32 // last clock reading of the axes
	least    int32 // shortest gap kept
}

// hold is a span of the clock in which a mold has a part in it.
type hold struct{ start, end int32 }

// shop names what a board numbers.
type shop struct {
	centers map[string]int
	list    []Center
	molds   map[string]int
}

func newShop(centers []Center) (*shop, error) {
	s := &shop{centers: make(map[string]int, len(centers)), list: slices.Clone(centers), molds: map[string]int{}}
	for i, c := range centers {
		switch {
		case c.Key == "":
			return nil, &CenterError{Center: c.Key, Err: ErrEmptyKey}
		case c.Posts < 1:
			return nil, &CenterError{Center: c.Key, Err: ErrNoPosts}
		case c.Calendar == nil:
			return nil, &CenterError{Center: c.Key, Err: ErrCenterHours}
		}
		if _, dup := s.centers[c.Key]; dup {
			return nil, &CenterError{Center: c.Key, Err: ErrDuplicateKey}
		}
		s.centers[c.Key] = i
	}
	return s, nil
}

func (s *shop) mold(key string) int {
	if i, ok := s.molds[key]; ok {
		return i
	}
	i := len(s.molds)
	s.molds[key] = i
	return i
}

// wholeSecond is the first whole second at or after t.
func wholeSecond(t time.Time) time.Time {
	if k := t.Truncate(time.Second); k.Equal(t) {
		return k
	}
	return t.Truncate(time.Second).Add(time.Second)
}

// compileAxes lays out each calendar once.
func (s *shop) compileAxes(origin time.Time, years int) []*axis {
	once := map[*Calendar]*axis{}
	axes := make([]*axis, len(s.list))
	for i, c := range s.list {
		if once[c.Calendar] == nil {
			once[c.Calendar] = newAxis(c.Calendar, origin, years)
		}
		axes[i] = once[c.Calendar]
	}
	return axes
}

func newBoard(s *shop, axes []*axis, origin time.Time, years int, least int32) *board {
	b := &board{origin: origin, axes: axes, lanes: make([][]lane, len(s.list)), molds: make([][]hold, len(s.molds)), least: least,
		longest: int32(origin.AddDate(years, 0, 0).Unix() - origin.Unix())}
	for i, c := range s.list {
		b.lanes[i] = make([]lane, c.Posts)
		for p := range b.lanes[i] {
			b.lanes[i][p] = newLane(axes[i].total)
		}
	}
	return b
}
