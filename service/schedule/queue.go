package schedule

import (
	"fmt"
	"math"
)

// Kingman is the expected wait in the queue of one server, in the unit of
// service: the upper-bound approximation for heavy traffic, exact for M/M/1.
//
//	Wq = (ca^2 + ce^2)/2 * u/(1-u) * te
//
// ca and ce are the coefficients of variation of arrivals and of service, u
// the utilization, te the mean service time. Range: 0 <= u < 1.
//
// Source: J. F. C. Kingman, Mathematical Proceedings of the Cambridge
// Philosophical Society 57 (1961) 902-904; the form is that of W. J. Hopp,
// M. L. Spearman, Factory Physics (from memory). Error: ErrDistribution.
func Kingman(ca, ce, u, te float64) (float64, error) {
	if !(ca >= 0) || !(ce >= 0) || !(u >= 0 && u < 1) || !(te >= 0) || math.IsInf(ca+ce+te, 0) {
		return 0, fmt.Errorf("queue of utilization %v: %w: it must be below 1, and the others not negative", u, ErrDistribution)
	}
	return (ca*ca + ce*ce) / 2 * u / (1 - u) * te, nil
}

// Sakasegawa is Kingman's wait for m equal servers on one queue.
//
//	Wq = (ca^2 + ce^2)/2 * u^(sqrt(2(m+1)) - 1) / (m (1-u)) * te
//
// Source: H. Sakasegawa, Annals of the Institute of Statistical Mathematics 29
// (1977) 67-75 (from memory). Error: ErrDistribution.
func Sakasegawa(ca, ce, u, te float64, m int) (float64, error) {
	if m < 1 {
		return 0, fmt.Errorf("queue of %d servers: %w", m, ErrDistribution)
	}
	if _, err := Kingman(ca, ce, u, te); err != nil {
		return 0, err
	}
	return (ca*ca + ce*ce) / 2 * math.Pow(u, math.Sqrt(2*float64(m+1))-1) / (float64(m) * (1 - u)) * te, nil
}
