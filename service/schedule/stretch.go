package schedule

import "math"

// stretchBits is log2 of the entries of powers.
const stretchBits = 6

// powers are 2^(i/64).
var powers = func() (t [1 << stretchBits]float64) {
	for i := range t {
		t[i] = math.Exp2(float64(i) / (1 << stretchBits))
	}
	return t
}()

// stretch is ceiling(s * math.Exp(x)), s > 0: the very same, in a third of the time.
//
//	exp(x) = 2^k 2^(i/64) exp(r)      |r| <= ln 2 / 128
//
// Six terms of the series leave 4e-17 of exp(r). What the rounding of either way
// adds is far below stretchError; where a whole second is nearer than that,
// math.Exp decides.
func stretch(s, x float64) int32 {
	const perStep = math.Ln2 / (1 << stretchBits)
	if x > -20 && x < 20 {
		const toNearest = 1 << 52 * 1.5 // its last place is 1
		at := x*(1/perStep) + toNearest - toNearest
		r, n := x-at*perStep, int(at)
		e := 1 + r*(1+r*(1./2+r*(1./6+r*(1./24+r*(1./120)))))
		power := math.Float64frombits(uint64(1023+n>>stretchBits) << 52)
		v := s * (power * powers[n&(1<<stretchBits-1)] * e)
		if v < maxSeconds-1 {
			whole := int32(v) // toward zero
			if past, margin := v-float64(whole), v*stretchError; past > margin && 1-past > margin {
				return whole + 1
			}
		}
	}
	return ceiling(s * math.Exp(x))
}

// stretchError bounds the relative error of either way, with a hundredfold to spare:
// at |x| = 20 the product at*perStep is off by less than 4e-15.
const stretchError = 1e-12
