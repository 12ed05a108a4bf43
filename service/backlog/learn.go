package backlog

import (
	"fmt"

	"hatchwright/service/schedule"
	"hatchwright/service/shop"
)

// Observation is a finished operation: hours as planned and as they came out.
type Observation struct {
	Kind             string
	Estimate, Actual float64
}

// Learned is what is known about one kind of operation.
type Learned struct {
	Kind string
	schedule.Calibration
	Spread schedule.Spread // to plan with
	Prior  schedule.Spread // before anything was reported
}

// Learn begins with what the profile says of each kind that it has a rate for, and
// takes the observations in, in the order given. Kinds without a rate, which
// orders of an older profile may have, begin with the profile's common figures.
// Reports that nothing can be learned from (schedule.ErrRecord) are counted as
// refused.
func Learn(p *shop.Profile, observations []Observation) (m schedule.Model, learned map[string]Learned, refused int, err error) {
	learned = map[string]Learned{}
	begin := func(kind string) (Learned, error) {
		prior, weight := p.Prior(kind)
		c, err := schedule.NewCalibration(prior, weight)
		if err != nil {
			return Learned{}, fmt.Errorf("learn %q: %w", kind, err)
		}
		return Learned{Kind: kind, Calibration: c, Prior: prior}, nil
	}
	for kind := range p.Rates {
		if learned[kind], err = begin(kind); err != nil {
			return m, nil, 0, err
		}
	}
	for _, o := range observations {
		l, known := learned[o.Kind]
		if !known {
			if l, err = begin(o.Kind); err != nil {
				return m, nil, 0, err
			}
		}
		estimate, e1 := schedule.Hours(o.Estimate)
		actual, e2 := schedule.Hours(o.Actual)
		if e1 == nil && e2 == nil {
			l.Calibration, e1 = l.Observe(estimate, actual)
		}
		if e1 != nil || e2 != nil {
			refused++
			continue
		}
		learned[o.Kind] = l
	}
	m = schedule.Model{Kinds: make(map[string]schedule.Spread, len(learned)), Common: p.Uncertainty.Common}
	m.Default, _ = p.Prior("")
	for kind, l := range learned {
		l.Spread = l.Calibration.Spread(l.Prior.WaitSigma)
		learned[kind], m.Kinds[kind] = l, l.Spread
	}
	return m, learned, refused, nil
}
