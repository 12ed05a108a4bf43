package nest

import (
	"math"
	"slices"
)

// boundSlack is taken off a fractional bound before it is rounded up. Sums of
// up to MaxPieces float64 products carry a relative error of about 1e-13; a
// bound a hair above a whole number must not be rounded up because of it.
const boundSlack = 1e-9

// Parameters e tried per direction. With t of them the bound takes time
// n (2t + 11)², about half a millisecond for 30 panels and t = 64: nothing beside
// a search, too much for a first plan. Fewer can only weaken the bound.
const (
	thresholds      = 64
	fewThresholds   = 12
	thresholdBudget = 100_000 // steps; below it, few are tried
)

// thresholdsFor is how many parameters a search of that budget is worth.
func thresholdsFor(budget int) int {
	if budget < thresholdBudget {
		return fewThresholds
	}
	return thresholds
}

// areaBound is the kerf-widened area of all pieces in units of the largest
// board, and the least number of boards whose areas add up to it, taking the
// largest at hand first. enough is false when all the stock's area is too
// little; the count is then one more than the stock.
//
//	continuous bound  L0 = ceil(sum l_i w_i / (L W))
func (p *problem) areaBound() (fraction float64, sheets int, enough bool) {
	total := 0.0
	for i := range p.pieces {
		total += p.pieces[i].area
	}
	fraction = total / p.boards[0].area
	rest := total
	for _, b := range p.boards {
		need := math.Ceil(rest/b.area - boundSlack)
		if need <= float64(b.left) {
			return fraction, sheets + int(max(need, 0)), true
		}
		sheets += b.left
		rest -= float64(b.left) * b.area
	}
	return fraction, sheets + 1, false
}

// stockCount is the number of sheets at hand, or unlimited.
func (p *problem) stockCount() int {
	n := 0
	for _, b := range p.boards {
		n += b.left
		if n >= unlimited {
			return unlimited
		}
	}
	return n
}

// dualBound is the best bound from pairs of dual feasible functions f, g:
//
//	sheets >= sum_i f(l_i/L) g(w_i/W)
//
// where f is dual feasible when sum x_k <= 1 implies sum f(x_k) <= 1. Fekete
// and Schepers (2001), section 3, with the functions of dualFunctions. A piece
// that may be turned counts with the smaller product of its ways of fitting.
// L x W is the smallest rectangle that contains every stock size. The search
// for a better pair ends once enough is reached; most limits the parameters.
func (p *problem) dualBound(enough, most int) int {
	var l, w float64
	for _, b := range p.boards {
		l, w = max(l, b.l), max(w, b.w)
	}
	n := len(p.pieces)
	anyTurn := false
	ways := make([]uint8, n) // bit 0 as given, bit 1 turned
	for i, pc := range p.pieces {
		if pc.l <= l && pc.w <= w {
			ways[i] |= 1
		}
		if pc.turn && pc.w <= l && pc.l <= w {
			ways[i] |= 2
			anyTurn = true
		}
	}
	sidesL, sidesW := make([]float64, n), make([]float64, n)
	for i, pc := range p.pieces {
		sidesL[i], sidesW[i] = pc.l, pc.w
	}
	all := [][]float64{sidesL}
	allW := [][]float64{sidesW}
	if anyTurn {
		all, allW = [][]float64{sidesL, sidesW}, [][]float64{sidesW, sidesL}
	}
	f := dualFunctions(all, l, most)
	g := dualFunctions(allW, w, most)
	best := 0
	for a := range f {
		for b := range g {
			sum := 0.0
			if !anyTurn {
				fa, gb := f[a][0], g[b][0]
				for i := range fa {
					sum += float64(fa[i] * gb[i])
				}
			} else {
				fl, fw, gw, gl := f[a][0], f[a][1], g[b][0], g[b][1]
				for i, way := range ways {
					switch way {
					case 1:
						sum += float64(fl[i] * gw[i])
					case 2:
						sum += float64(fw[i] * gl[i])
					case 3:
						sum += min(float64(fl[i]*gw[i]), float64(fw[i]*gl[i]))
					}
				}
			}
			if k := int(math.Ceil(sum - boundSlack)); k > best {
				best = k
				if best >= enough {
					return best
				}
			}
		}
	}
	return best
}

// dualFunctions is the distinct value tables of a set of dual feasible
// functions on the sides in rows, for a sheet side of the given length. Each
// table has one row per row of sides. With x = side/length:
//
//	identity   x
//	u_k(x)     x if (k+1) x is whole, floor((k+1) x)/k otherwise,  k = 1 ... 10
//	U_e(x)     1 if x > 1-e;  x if e <= x <= 1-e;  0 if x < e,     0 < e <= 1/2
//	phi_e(x)   1 - floor((1-x)/e)/floor(1/e) if x > 1/2;
//	           1/floor(1/e) if e <= x <= 1/2;  0 if x < e,         0 < e <= 1/2
//
// Fekete and Schepers (2001), theorems 1 to 3 and section 3. The values change
// only where e passes a side or its complement, so those are the e tried. Sides
// longer than the sheet (the way the piece cannot lie) get 1 and are not used.
func dualFunctions(rows [][]float64, length float64, most int) [][][]float64 {
	var cuts []float64
	for _, row := range rows {
		for _, s := range row {
			if s > length {
				continue
			}
			if 2*s <= length {
				cuts = append(cuts, s)
			} else if s < length {
				cuts = append(cuts, length-s)
			}
		}
	}
	slices.Sort(cuts)
	cuts = slices.Compact(cuts)
	if len(cuts) > most {
		kept := make([]float64, 0, most)
		for k := range most {
			kept = append(kept, cuts[(2*k+1)*len(cuts)/(2*most)])
		}
		cuts = kept
	}
	width := 0
	for _, row := range rows {
		width += len(row)
	}
	seen := map[uint64]bool{}
	var out [][][]float64
	add := func(fn func(s float64) float64) {
		flat := make([]float64, 0, width)
		h := uint64(0)
		for _, row := range rows {
			for _, s := range row {
				v := 1.0
				if s <= length {
					v = fn(s)
				}
				flat = append(flat, v)
				h = mix(h*31 + math.Float64bits(v))
			}
		}
		if seen[h] {
			return
		}
		seen[h] = true
		table := make([][]float64, 0, len(rows))
		for _, row := range rows {
			table = append(table, flat[:len(row):len(row)])
			flat = flat[len(row):]
		}
		out = append(out, table)
	}
	add(func(s float64) float64 { return s / length })
	for k := 1.0; k <= 10; k++ {
		add(func(s float64) float64 {
			if math.Mod((k+1)*s, length) == 0 {
				return s / length
			}
			return math.Floor((k+1)*s/length) / k
		})
	}
	for _, e := range cuts {
		add(func(s float64) float64 {
			switch {
			case s > length-e:
				return 1
			case s >= e:
				return s / length
			}
			return 0
		})
		parts := math.Floor(length / e)
		add(func(s float64) float64 {
			switch {
			case 2*s > length:
				return 1 - math.Floor((length-s)/e)/parts
			case s >= e:
				return 1 / parts
			}
			return 0
		})
	}
	return out
}
