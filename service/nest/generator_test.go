package nest_test

import (
	"fmt"
	"slices"
	"strconv"
	"testing"
)

// congruential is the generator of the reference program of classes 1 to 10:
//
//	v <- (7141 v + 54773) mod 259200,  u = v/259200 in single precision
//
// It starts at 0 and discards floor(31.47 n m + 2000) + 1 numbers for size n,
// instance m.
type congruential int

func (c *congruential) next() float32 {
	*c = (*c*7141 + 54773) % 259200
	return float32(*c) / 259200
}

// between is a whole number in [lo, hi].
func (c *congruential) between(lo, hi int) int {
	return int(float32(hi-lo+1)*c.next()) + lo
}

// generate makes instance m of the class with n items, each height drawn
// before its width.
func generate(class, n, m int) instance {
	var c congruential
	for range int(float64(n*m)*31.47+2000) + 1 {
		c.next()
	}
	sides := [11]int{0, 10, 30, 40, 100, 100, 300, 100, 100, 100, 100}
	most := [7]int{0, 10, 10, 35, 35, 100, 100}
	in := instance{Name: fmt.Sprintf("CLASS%02d_%03d_%02d", class, n, m), Sheet: [2]float64{float64(sides[class]), float64(sides[class])}}
	at := map[[2]int]int{}
	for range n {
		var w, h int
		if class <= 6 {
			h = c.between(1, most[class])
			w = c.between(1, most[class])
		} else {
			w, h = c.typed(class)
		}
		if i, ok := at[[2]int{w, h}]; ok {
			in.Items[i][2]++
			continue
		}
		at[[2]int{w, h}] = len(in.Items)
		in.Items = append(in.Items, [3]float64{float64(w), float64(h), 1})
	}
	return in
}

// typed draws an item of classes 7 to 10: wide, tall, big or small, seven in ten
// of the class's own type, one in ten of each other.
func (c *congruential) typed(class int) (w, h int) {
	own := class - 6
	u := c.next()
	kind, sum := 0, float32(0)
	for k := 1; k <= 4 && kind == 0; k++ {
		if k == own {
			sum += 0.7
		} else {
			sum += 0.1
		}
		if u <= sum || k == 4 {
			kind = k
		}
	}
	switch kind {
	case 1:
		h = c.between(1, 50)
		w = c.between(66, 100)
	case 2:
		h = c.between(66, 100)
		w = c.between(1, 50)
	case 3:
		h = c.between(50, 100)
		w = c.between(50, 100)
	default:
		h = c.between(1, 50)
		w = c.between(1, 50)
	}
	return w, h
}

// TestGeneratorMakesThePublishedInstances compares the 150 instances in
// testdata with the generator described with them. 149 agree to the last item.
// In CLASS03_040_01 the stored file has one item of 7 x 5 where the generator
// draws 7 x 6 (u = 0.157677, 35 u = 5.52); which of the two is the slip is not
// known, so the difference is written down here and both are used as they are.
func TestGeneratorMakesThePublishedInstances(t *testing.T) {
	agree := 0
	for _, want := range published(t) {
		m, err := strconv.Atoi(want.Name[12:14])
		if err != nil {
			t.Fatal(err)
		}
		got := generate(want.class(), want.size(), m)
		if want.Name == "CLASS03_040_01" {
			if got.Items[0] != [3]float64{7, 6, 2} || want.Items[0] != [3]float64{7, 6, 1} || want.Items[15] != [3]float64{7, 5, 1} {
				t.Errorf("%s is not the item known to differ:\n got %v\nwant %v", want.Name, got, want)
			}
			got.Items[0][2] = 1
			got.Items = slices.Insert(got.Items, 15, [3]float64{7, 5, 1})
		} else {
			agree++
		}
		if fmt.Sprint(got) != fmt.Sprint(want) {
			t.Errorf("%s\n got %v\nwant %v", want.Name, got, want)
		}
	}
	if agree != 149 {
		t.Errorf("%d instances compared in full, want 149", agree)
	}
}
