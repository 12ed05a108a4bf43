package shop

// Fit is how likely a lid may be to jam: the odds that the clearance comes out
// under the least gap asked for somewhere round the lid, with the shop's own errors. What is left out
// or 0 stands for the standard figures.
type Fit struct {
	// OddsCaution is the share of hatches up to which nothing is said.
	OddsCaution float64 `json:"odds_caution,omitempty"`
	// OddsError is the share up to which a hatch is built at all.
	OddsError float64 `json:"odds_error,omitempty"`
}

// What stands for odds that a profile leaves out. A lid that jams is filed to fit, or
// molded anew.
const (
	// StandardOddsCaution is a lid in fifty (shop rule, no source).
	StandardOddsCaution = 0.02
	// StandardOddsError is a lid in ten (shop rule, no source).
	StandardOddsError = 0.10
	// leastOdds is the least that can be asked for: a lid in a million is beyond what
	// errors taken as normal say anything of.
	leastOdds = 1e-6
)

// Filled puts the standard figures where none are given.
func (f Fit) Filled() Fit {
	if f.OddsCaution == 0 {
		f.OddsCaution = StandardOddsCaution
	}
	if f.OddsError == 0 {
		f.OddsError = StandardOddsError
	}
	return f
}

// look finds a caution that comes after its error.
func (f Fit) look(i *inspector) {
	if k := f.Filled(); i.sound("/fit") && k.OddsCaution > k.OddsError {
		i.later(fault("/fit/odds_caution", "out_of_order", "This must be at most odds_error, %g: a caution comes before an error.", k.OddsError))
	}
}
