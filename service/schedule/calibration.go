package schedule

import (
	"errors"
	"fmt"
	"math"
	"time"
)

// Calibration is what has been learned about one kind of operation: a normal
// law of x = ln(actual / estimate) with unknown mean and variance, in the
// conjugate normal-inverse-gamma form. The zero value is not a prior; use
// NewCalibration. It is a value: Observe returns the updated one.
//
//	mean | v ~ N(Location, v / Weight),   v ~ InverseGamma(Shape, Scale)
//
// Source: A. Gelman et al., Bayesian Data Analysis, 3rd ed., CRC 2013, sec.
// 3.3; K. P. Murphy, Conjugate Bayesian analysis of the Gaussian distribution,
// 2007 (both from memory).
type Calibration struct {
	Location float64 `json:"location"`
	Weight   float64 `json:"weight"`
	Shape    float64 `json:"shape"`
	Scale    float64 `json:"scale"`
	// Observations counted since the prior.
	Observations int `json:"observations"`
}

// MaxRatio bounds actual over estimate and estimate over actual. A record
// beyond is a slip of the clock or the unit, not a duration (shop rule).
const MaxRatio = 50.0

// ErrRecord is an actual that cannot be learned from.
var ErrRecord = errors.New("record of an actual duration is refused")

// NewCalibration is a prior that says spread with the force of weight
// observations, weight > 0. Its Spread is the one given.
//
//	Shape = 1 + weight/2,  Scale = sigma^2 (Shape - 1) weight / (weight + 1)
//
// Error: ErrDistribution.
func NewCalibration(s Spread, weight float64) (Calibration, error) {
	if err := s.check(); err != nil {
		return Calibration{}, fmt.Errorf("calibration: %w", err)
	}
	if !(weight > 0) || math.IsInf(weight, 0) {
		return Calibration{}, fmt.Errorf("calibration: %w: weight %v is not above 0", ErrDistribution, weight)
	}
	shape := 1 + weight/2
	return Calibration{Location: math.Log(s.Factor), Weight: weight, Shape: shape, Scale: s.Sigma * s.Sigma * (shape - 1) * weight / (weight + 1)}, nil
}

// Observe learns one finished operation.
//
//	Location' = (Weight Location + x) / (Weight + 1)
//	Weight'   = Weight + 1
//	Shape'    = Shape + 1/2
//	Scale'    = Scale + Weight (x - Location)^2 / (2 (Weight + 1))
//
// Error: ErrRecord unless both are above zero and within MaxRatio of each
// other.
func (c Calibration) Observe(estimate, actual time.Duration) (Calibration, error) {
	if estimate <= 0 || actual <= 0 {
		return c, fmt.Errorf("%w: estimate %v and actual %v must be above zero", ErrRecord, estimate, actual)
	}
	ratio := float64(actual) / float64(estimate)
	if ratio > MaxRatio || ratio < 1/MaxRatio {
		return c, fmt.Errorf("%w: actual %v is %.3g times the estimate %v, beyond %v: check the times", ErrRecord, actual, ratio, estimate, MaxRatio)
	}
	x := math.Log(ratio)
	c.Scale += c.Weight * (x - c.Location) * (x - c.Location) / (2 * (c.Weight + 1))
	c.Location = (c.Weight*c.Location + x) / (c.Weight + 1)
	c.Weight++
	c.Shape += 0.5
	c.Observations++
	return c, nil
}

// Spread is the factor and spread to plan with: the posterior median ratio,
// and the deviation of the next ln ratio, doubt about the mean included.
//
//	Factor  = exp(Location)
//	Sigma^2 = Scale (Weight + 1) / (Weight (Shape - 1)),  at most MaxSigma^2
//
// waitSigma is passed through.
func (c Calibration) Spread(waitSigma float64) Spread {
	v := c.Scale * (c.Weight + 1) / (c.Weight * (c.Shape - 1))
	return Spread{Factor: math.Exp(c.Location), Sigma: min(MaxSigma, math.Sqrt(v)), WaitSigma: waitSigma}
}

// Coverage counts how often orders finished by the percentiles they were
// given. The zero value has counted none.
type Coverage struct {
	Finished int `json:"finished"`
	ByP50    int `json:"by_p50"`
	ByP80    int `json:"by_p80"`
	ByP95    int `json:"by_p95"`
}

// Observe counts one finished order.
func (c Coverage) Observe(given Percentiles, finished time.Time) Coverage {
	c.Finished++
	for _, k := range []struct {
		by time.Time
		n  *int
	}{{given.P50, &c.ByP50}, {given.P80, &c.ByP80}, {given.P95, &c.ByP95}} {
		if !finished.After(k.by) {
			*k.n++
		}
	}
	return c
}

// Shares are the counts over the finished, each 0 to 1; false when none has
// finished.
func (c Coverage) Shares() (p50, p80, p95 float64, ok bool) {
	if c.Finished == 0 {
		return 0, 0, 0, false
	}
	n := float64(c.Finished)
	return float64(c.ByP50) / n, float64(c.ByP80) / n, float64(c.ByP95) / n, true
}
