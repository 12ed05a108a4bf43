package schedule

import (
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"time"
)

// Spread is how durations of one kind of operation scatter about the estimate.
//
//	labor = estimate * Factor * exp(Sigma Z)      Z standard normal
//	wait  = estimate * exp(WaitSigma Z')
//
// Factor is learned: the median of actual over estimate.
type Spread struct {
	Factor    float64
	Sigma     float64
	WaitSigma float64
}

// Model is the spread of each kind of operation, and of the kinds not listed.
//
// Common is the share of the variance of ln labor that all operations of one
// scenario have together (the weather, a hand missing): 0 leaves operations
// independent, 1 makes all long or all short together.
//
//	Z = sqrt(Common) Z_scenario + sqrt(1 - Common) Z_operation
type Model struct {
	Kinds   map[string]Spread
	Default Spread
	Common  float64
}

// MaxSigma bounds the spread: at 2 the upper 5 % take 27 times the median, and
// nothing can be promised (shop rule).
const MaxSigma = 2.0

func (m *Model) check() error {
	if !(m.Common >= 0 && m.Common <= 1) {
		return fmt.Errorf("model: %w: common share %v is not within 0 to 1", ErrDistribution, m.Common)
	}
	for _, k := range sortedKeys(m.Kinds) {
		if err := m.Kinds[k].check(); err != nil {
			return fmt.Errorf("model: kind %q: %w", k, err)
		}
	}
	if err := m.Default.check(); err != nil {
		return fmt.Errorf("model: default: %w", err)
	}
	return nil
}

func (s Spread) check() error {
	if !(s.Factor > 0) || math.IsInf(s.Factor, 0) {
		return fmt.Errorf("%w: factor %v is not above 0", ErrDistribution, s.Factor)
	}
	if !(s.Sigma >= 0 && s.Sigma <= MaxSigma) || !(s.WaitSigma >= 0 && s.WaitSigma <= MaxSigma) {
		return fmt.Errorf("%w: sigma %v or wait sigma %v is not within 0 to %v", ErrDistribution, s.Sigma, s.WaitSigma, MaxSigma)
	}
	return nil
}

// Remaining is what to take for the labor left of an operation in progress:
// the median of what is left, given that worked was not enough, over Factor, so
// that the model's factor brings it back.
//
//	F(w) = Phi(ln(w / (estimate Factor)) / Sigma)
//	left = F^-1((1 + F(w)) / 2) - w
//
// It is never less than a minute: whoever is at it is not done.
func (s Spread) Remaining(estimate, worked time.Duration) time.Duration {
	if worked <= 0 {
		return max(estimate, time.Minute)
	}
	median := float64(estimate) * s.Factor
	left := median - float64(worked)
	if s.Sigma > 0 && median > 0 {
		z := math.Log(float64(worked)/median) / s.Sigma
		// The upper tail, so that nothing is lost far out.
		upper := NormalProbability(-z) / 2
		if upper > 0 {
			left = median*math.Exp(-s.Sigma*NormalQuantile(upper)) - float64(worked)
		}
	}
	return max(time.Duration(left/s.Factor), time.Minute)
}

// sampler draws the durations of one route, by step.
type sampler []drawn

// drawn is how the durations of a step scatter: medians in seconds, and laws.
type drawn struct {
	key                 uint64 // of the operation
	labor, wait         float64
	own, waiting        *law
	share               int
	scatters            bool
	risk                float64
	riskLabor, riskWait float64
}

func newSampler(j *Job, r *route, l *laws) sampler {
	s := make(sampler, len(r.steps))
	for i := range r.steps {
		st := &r.steps[i]
		k := l.kind(j.Operations[st.operation].Kind)
		s[i] = drawn{
			key: drawKey(j.Key, j.Operations[st.operation].Key), labor: float64(st.labor) * k.factor, wait: float64(st.wait), own: k.own, waiting: k.waiting, share: k.share,
			risk: st.risk, riskLabor: float64(st.riskLabor) * k.factor, riskWait: float64(st.riskWait),
		}
		s[i].scatters = k.own.sigma > 0 && st.labor+st.riskLabor > 0 || k.waiting.sigma > 0 && st.wait+st.riskWait > 0
	}
	return s
}

// drawKey gives an operation draws of its own, whatever else is drawn: the same in two
// plans that have it both, so that they differ by what they are and not by luck.
func drawKey(job, operation string) uint64 {
	h := fnv.New64a()
	_, _ = h.Write([]byte(job))
	_, _ = h.Write([]byte{0})
	_, _ = h.Write([]byte(operation))
	return h.Sum64()
}

// stream is what the draws of one scenario come from.
type stream struct{ high, low uint64 }

func nextStream(root *rand.PCG) stream { return stream{root.Uint64(), root.Uint64()} }

// of is the generator of an operation in it; that of 0 is the scenario's own.
func (s stream) of(key uint64) rand.PCG {
	var pcg rand.PCG
	pcg.Seed(s.high^key, s.low)
	return pcg
}

// shared are the factors of the scenario, see laws.shared.
func (s stream) shared(l *laws) []float64 {
	pcg := s.of(0)
	return l.shared(rand.New(&pcg).NormFloat64())
}

// draw fills d with the durations of one scenario.
func (s sampler) draw(from stream, shared []float64, d []duration) {
	for i := range s {
		d[i] = s[i].draw(from, shared[s[i].share])
	}
}

// draw is of one step; shared is what all of its scenario have together. Only what
// scatters costs a draw; durations round up to whole seconds.
func (k *drawn) draw(from stream, shared float64) duration {
	labor, wait := k.labor, k.wait
	pcg := from.of(k.key)
	if k.risk > 0 && float64(pcg.Uint64()>>11)/(1<<53) < k.risk {
		labor, wait = labor+k.riskLabor, wait+k.riskWait
	}
	labor *= shared
	if k.scatters {
		p := pcg.Uint64()
		labor *= k.own.at(uint32(p >> 32))
		wait *= k.waiting.at(uint32(p))
	}
	return duration{ceiling(labor), ceiling(wait)}
}

// ceiling is the first whole second no less than s >= 0, maxSeconds at most.
func ceiling(s float64) int32 {
	if s >= maxSeconds {
		return maxSeconds
	}
	n := int32(s)
	if float64(n) < s {
		n++
	}
	return n
}

// streams is the root generator of a seed's 32 bytes, which gives each scenario a
// stream of its own.
func streams(seed [32]byte) *rand.PCG {
	w := func(i int) uint64 { return binary.LittleEndian.Uint64(seed[8*i:]) }
	return rand.NewPCG(w(0)^w(2), w(1)^w(3))
}
