package schedule

import "math"

// law draws lognormals of median 1:
//
//	exp(sigma z_p)      p uniform
//
// It goes straight between exact values at 512 equal steps of p, and is exact in the
// four outermost at either end. Up to sigma 0.5 the mean is within 2e-5 of itself and
// the variance within 3e-4, up to MaxSigma both within 6e-4.
type law struct {
	sigma float64
	steps [lawSteps]lawStep
}

// lawStep is where a step of p begins: the value there, and its growth per unit of a
// 32-bit p.
type lawStep struct{ value, slope float64 }

const (
	lawBits  = 9
	lawSteps = 1 << lawBits
	lawTail  = 4
	lawUnits = 1 << (32 - lawBits) // units of p in a step
)

func newLaw(sigma float64) *law {
	l := &law{sigma: sigma}
	for i := lawTail; i < lawSteps-lawTail; i++ {
		from, to := l.quantile(float64(i)/lawSteps), l.quantile(float64(i+1)/lawSteps)
		l.steps[i] = lawStep{from, (to - from) / lawUnits}
	}
	return l
}

func (l *law) quantile(p float64) float64 { return math.Exp(l.sigma * NormalQuantile(p)) }

// at is the value for p, of 2^32.
func (l *law) at(p uint32) float64 {
	i := p >> (32 - lawBits)
	if i-lawTail >= lawSteps-2*lawTail {
		return l.tail(p)
	}
	k := &l.steps[i]
	return k.value + k.slope*float64(int32(p&(lawUnits-1)))
}

func (l *law) tail(p uint32) float64 { return l.quantile((float64(p) + 0.5) / (1 << 32)) }

// laws are the laws of a model, one for each spread that differs.
type laws struct {
	kinds  map[string]kindLaw
	rest   kindLaw
	shares []float64 // spreads of what all operations of a scenario have together
}

// kindLaw is how one kind of operation scatters.
type kindLaw struct {
	factor       float64
	own, waiting *law
	share        int // index into laws.shares
}

func newLaws(m *Model) *laws {
	l := &laws{kinds: make(map[string]kindLaw, len(m.Kinds))}
	made, share := map[float64]*law{}, map[float64]int{}
	of := func(sigma float64) *law {
		if made[sigma] == nil {
			made[sigma] = newLaw(sigma)
		}
		return made[sigma]
	}
	compile := func(s Spread) kindLaw {
		together := s.Sigma * math.Sqrt(m.Common)
		k, there := share[together]
		if !there {
			k = len(l.shares)
			share[together], l.shares = k, append(l.shares, together)
		}
		return kindLaw{s.Factor, of(s.Sigma * math.Sqrt(1-m.Common)), of(s.WaitSigma), k}
	}
	for _, k := range sortedKeys(m.Kinds) {
		l.kinds[k] = compile(m.Kinds[k])
	}
	l.rest = compile(m.Default)
	return l
}

func (l *laws) kind(name string) kindLaw {
	if k, ok := l.kinds[name]; ok {
		return k
	}
	return l.rest
}

// shared are the factors of one scenario, by share; z is its standard normal.
func (l *laws) shared(z float64) []float64 {
	out := make([]float64, len(l.shares))
	for i, sigma := range l.shares {
		out[i] = math.Exp(sigma * z)
	}
	return out
}
