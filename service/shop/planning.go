package shop

import (
	"hatchwright/service/schedule"
)

// Uncertainty is how durations scatter about the rates before the floor has
// reported anything. Every field may be left out.
type Uncertainty struct {
	// Sigma is the deviation of ln(actual / estimate) of labor; 0 stands for
	// StandardSigma. Kinds has its own by kind of operation.
	Sigma float64            `json:"sigma,omitempty"`
	Kinds map[string]float64 `json:"kinds,omitempty"`
	// WaitSigma is the same of waiting by the clock; 0: as long as the book says.
	WaitSigma float64 `json:"wait_sigma,omitempty"`
	// Common is the share of the variance that all work of one scenario has
	// together, 0 to 1.
	Common float64 `json:"common,omitempty"`
	// Weight is how many reports the rates are worth; 0 stands for StandardWeight.
	Weight float64 `json:"weight,omitempty"`
	// FirstPull is the probability that the first part out of a new mold sticks;
	// nil stands for StandardFirstPull.
	FirstPull *float64 `json:"first_pull_risk,omitempty"`
}

// What stands for figures that a profile leaves out.
const (
	// StandardSigma puts 2 out of 3 jobs of hand work within about a third of the
	// estimate (common practice, no source); the floor's reports replace it.
	StandardSigma = 0.3
	// StandardWeight lets a handful of reports outweigh the book (shop rule).
	StandardWeight = 4.0
	// StandardFirstPull is the middle of what owners of molds told a published
	// survey of mold release in the trade: 13 to 15 % of new molds stuck one of
	// the first three parts (524 answers; relayed, the survey itself not seen).
	StandardFirstPull = 0.14
)

// FirstPullRisk is the probability that the first part out of a new mold sticks.
func (p *Profile) FirstPullRisk() float64 {
	if p.Uncertainty.FirstPull != nil {
		return *p.Uncertainty.FirstPull
	}
	return StandardFirstPull
}

// Prior is how labor and waiting of a kind of operation scatter while nothing is
// learned, and how many reports that is worth.
func (p *Profile) Prior(kind string) (s schedule.Spread, weight float64) {
	u := p.Uncertainty
	s = schedule.Spread{Factor: 1, Sigma: u.Sigma, WaitSigma: u.WaitSigma}
	if own, ok := u.Kinds[kind]; ok {
		s.Sigma = own
	} else if u.Sigma == 0 {
		s.Sigma = StandardSigma
	}
	if weight = u.Weight; weight == 0 {
		weight = StandardWeight
	}
	return s, weight
}

// Purchase is how a material is bought.
type Purchase struct {
	Supplier string `json:"supplier,omitempty"`
	// LeadDays are working days of the shop from order to receipt.
	LeadDays int `json:"lead_working_days"`
	// LeastPacks is the smallest order, in the price book's packs; 0 stands for 1.
	LeastPacks int `json:"least_packs,omitempty"`
	// ShelfDays are calendar days from receipt to expiry; 0: it does not age.
	ShelfDays int `json:"shelf_days,omitempty"`
}
