package schedule

import "math"

// Percentile is the sample quantile of definition 7 of R. J. Hyndman, Y. Fan,
// The American Statistician 50 (1996) 361-365: linear between the order
// statistics, the least at p = 0 and the greatest at p = 1.
//
//	h = (n-1) p,  Q = x[floor h] + (h - floor h)(x[floor h + 1] - x[floor h])
//
// sorted is ascending; NaN when it is empty.
func Percentile(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	h := float64(len(sorted)-1) * min(1, max(0, p))
	k := int(h)
	if k+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[k] + (h-float64(k))*(sorted[k+1]-sorted[k])
}

// PercentileError is the standard error of Percentile, free of any assumption
// on the distribution: half the spread between the order statistics one
// binomial standard deviation to either side.
//
//	(Q(p + e) - Q(p - e)) / 2,  e = sqrt(p (1-p) / n)
func PercentileError(sorted []float64, p float64) float64 {
	if len(sorted) == 0 {
		return math.NaN()
	}
	e := math.Sqrt(p * (1 - p) / float64(len(sorted)))
	return (Percentile(sorted, p+e) - Percentile(sorted, p-e)) / 2
}
