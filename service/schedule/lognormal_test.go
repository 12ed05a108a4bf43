package schedule

import (
	"fmt"
	"math"
)

// Lognormal is the distribution of exp(Mu + Sigma Z), Z standard normal.
//
//	median   = exp(mu)
//	mean     = exp(mu + sigma^2/2)
//	variance = (exp(sigma^2) - 1) mean^2
//
// Source: N. L. Johnson, S. Kotz, N. Balakrishnan, Continuous Univariate
// Distributions, vol. 1, 2nd ed., Wiley 1994, ch. 14 (from memory).
type Lognormal struct{ Mu, Sigma float64 }

// LognormalOf has the mean and the coefficient of variation given.
//
//	sigma^2 = ln(1 + cv^2),  mu = ln(mean) - sigma^2/2
//
// Error: ErrDistribution unless mean > 0 and cv >= 0, both finite.
func LognormalOf(mean, cv float64) (Lognormal, error) {
	if !(mean > 0) || !(cv >= 0) || math.IsInf(mean, 0) || math.IsInf(cv*cv, 0) {
		return Lognormal{}, fmt.Errorf("lognormal of mean %v, coefficient of variation %v: %w", mean, cv, ErrDistribution)
	}
	v := math.Log1p(cv * cv)
	return Lognormal{Mu: math.Log(mean) - v/2, Sigma: math.Sqrt(v)}, nil
}

// Median of the distribution.
func (l Lognormal) Median() float64 { return math.Exp(l.Mu) }

// Mean of the distribution.
func (l Lognormal) Mean() float64 { return math.Exp(l.Mu + l.Sigma*l.Sigma/2) }

// Variance of the distribution.
func (l Lognormal) Variance() float64 {
	m := l.Mean()
	return math.Expm1(l.Sigma*l.Sigma) * m * m
}

// Quantile is the value not exceeded with probability p.
//
//	x = exp(mu + sigma z_p)
func (l Lognormal) Quantile(p float64) float64 { return math.Exp(l.Mu + l.Sigma*NormalQuantile(p)) }

// ChainSum is the total of tasks done one after another, by its mean and
// standard deviation.
//
//	mean = sum m_i
//	sd   = sqrt(sum s_i^2)   tasks independent
//	sd   = sum s_i           tasks fully correlated: the upper bound
type ChainSum struct{ Mean, Deviation float64 }

// IndependentSum adds tasks whose durations have nothing in common.
func IndependentSum(tasks []Lognormal) ChainSum {
	var c ChainSum
	for _, t := range tasks {
		c.Mean += t.Mean()
		c.Deviation += t.Variance()
	}
	c.Deviation = math.Sqrt(c.Deviation)
	return c
}

// CorrelatedSum adds tasks that are all long or all short together.
func CorrelatedSum(tasks []Lognormal) ChainSum {
	var c ChainSum
	for _, t := range tasks {
		c.Mean += t.Mean()
		c.Deviation += math.Sqrt(t.Variance())
	}
	return c
}

// Lognormal is the distribution of the same mean and deviation, the
// Fenton-Wilkinson fit of a sum of lognormals. Good in the body and the upper
// tail for sigma up to about 1, poor in the lower tail.
//
// Source: L. F. Fenton, IRE Transactions on Communications Systems 8 (1960)
// 57-67 (from memory).
func (c ChainSum) Lognormal() (Lognormal, error) { return LognormalOf(c.Mean, c.Deviation/c.Mean) }

// Quantile of the normal with the sum's mean and deviation.
func (c ChainSum) Quantile(p float64) float64 { return c.Mean + c.Deviation*NormalQuantile(p) }

// ThreePoint is a PERT estimate.
//
//	mean = (a + 4 m + b) / 6,  sd = (b - a) / 6
//
// Source: D. G. Malcolm, J. H. Roseboom, C. E. Clark, W. Fazar, Operations
// Research 7 (1959) 646-669 (from memory).
type ThreePoint struct{ Optimistic, Likely, Pessimistic float64 }

// Mean of the estimate.
func (t ThreePoint) Mean() float64 { return (t.Optimistic + 4*t.Likely + t.Pessimistic) / 6 }

// Variance of the estimate.
func (t ThreePoint) Variance() float64 {
	sd := (t.Pessimistic - t.Optimistic) / 6
	return sd * sd
}
