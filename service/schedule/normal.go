package schedule

import (
	"errors"
	"math"
)

// ErrDistribution is a parameter no distribution has.
var ErrDistribution = errors.New("not the parameters of a distribution")

// NormalQuantile is z_p, the standard normal's inverse distribution function.
//
//	z_p = -sqrt(2) erfcinv(2 p)
func NormalQuantile(p float64) float64 { return -math.Sqrt2 * math.Erfcinv(2*p) }

// NormalProbability is the standard normal's distribution function.
func NormalProbability(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }
