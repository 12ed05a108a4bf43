package nest

// random is the splitmix64 sequence (G. L. Steele, D. Lea, C. H. Flood, Fast
// splittable pseudorandom number generators, OOPSLA 2014): seeded by the
// caller, so that every run draws the same numbers.
type random uint64

func (r *random) next() uint64 {
	*r += 0x9e3779b97f4a7c15
	return mix(uint64(*r))
}

// below is a number in [0, n), n > 0. The bias of the plain remainder is below
// n/2^64.
func (r *random) below(n int) int { return int(r.next() % uint64(n)) }

func mix(z uint64) uint64 {
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}
