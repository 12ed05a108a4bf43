package tooling

import (
	"encoding/binary"
	"math"

	"hatchwright/service/finding"
	"hatchwright/service/part"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// RuleOdds rules on how likely the gap comes out under the least clearance asked for, with
// the shop's errors, at any side: an error over the shop's odds_error, a caution
// over its odds_caution. A gap that closes as drawn is told by the fit itself.
//
// It is asked a thousand times while mends are sought: plans keeps what was planned for one request. Where no plan
// could bring the odds to the caution, nothing is planned.
func RuleOdds(k *part.Configuration, g *part.Geometry, d shop.Documents, s *Stacker, c *Crib, plans Plans) []finding.Finding {
	if g.Stage < part.StageWhole || !k.HasTrunk() || g.Fit.LeastClearance < k.Lid.LeastGap {
		return nil
	}
	limits := d.Profile.Fit.Filled()
	if c.surely(k, g, d, s, limits) {
		return nil
	}
	t, ok := c.expect(k, *g, d, s, plans)
	if !ok || !(t.ProbabilityBelow > limits.OddsCaution) {
		return nil
	}
	f := finding.Finding{
		Code: MayJam, Severity: finding.Caution, Pointer: "/lid/gap",
		Measured: quantity.Of(t.ProbabilityBelow, quantity.Ratio), Limit: quantity.Of(limits.OddsCaution, quantity.Ratio),
		Mends: part.ClearanceMends(k, g.Fit), Source: "shop settings: fit, and the errors of tooling; errors taken as normal",
	}
	word := "it is built with open eyes"
	if t.ProbabilityBelow > limits.OddsError {
		f.Severity, f.Limit = finding.Error, quantity.Of(limits.OddsError, quantity.Ratio)
		word = "the shop does not build it so"
	}
	percent := func(x float64) quantity.Value { return quantity.Of(100*x, quantity.Percent) }
	return []finding.Finding{f.Say("The lid may jam: the clearance is expected to come out as %v, give or take %v, and is under the %v asked for somewhere round the lid in %v of hatches. Over %v %s; up to %v nothing is said.",
		quantity.Length(t.Nominal), quantity.Length(t.Deviation), quantity.Length(t.Required), percent(t.ProbabilityBelow), percent(f.Limit.Magnitude), word, percent(limits.OddsCaution))}
}

// RuleLeastGap cautions where less clearance is asked for than the shop's default: the
// odds are told for what is asked, so a lower figure would silence them.
func RuleLeastGap(k *part.Configuration, d shop.Documents) []finding.Finding {
	usual, ok := d.Profile.Defaults[leastGap].(float64)
	if !ok || !k.HasTrunk() || k.Lid.LeastGap >= usual-roundedInches {
		return nil
	}
	asked, limit := quantity.Length(k.Lid.LeastGap), quantity.Length(usual)
	return []finding.Finding{finding.Finding{
		Code: "fit.least_gap_low", Severity: finding.Caution, Pointer: leastGap, Measured: asked, Limit: limit,
		Mends: []finding.Mend{finding.AtLeast(leastGap, limit)}, Source: "shop setting: default least clearance",
	}.Say("Only %v of clearance is asked for at the tightest place; this shop asks for %v. Whether the lid goes down, and the odds of that, are told for what is asked: paint, dirt and swelling take more.", asked, limit)}
}

// roundedInches is how far a figure of the shop's may be off in a document in inches,
// which has five places, mm.
const roundedInches = 2e-4

// leastGap is where the least clearance of a lid stands.
const leastGap = "/lid/least_gap"

// MayJam is the code of RuleOdds.
const MayJam = "fit.may_jam"

// Plans keeps, for outlines to be cut, what stands between recess and lid in their best plan.
type Plans map[string]joint

// expect works out the tolerance of a hatch's gap without building anything else:
// the same as Build's. False where its outlines cannot be cut.
func (c *Crib) expect(k *part.Configuration, g part.Geometry, d shop.Documents, s *Stacker, plans Plans) (Tolerance, bool) {
	size := c.moldScale(k, d)
	if scale(&g, size) != nil {
		return Tolerance{}, false
	}
	needs, err := c.outlinesNeeded(k, &g, size, stacksOf(k, g.SkirtHeight, d.Profile.Tooling, s))
	if err != nil {
		return Tolerance{}, false
	}
	key := planKey(needs)
	j, ok := plans[string(key)]
	if !ok {
		j = jointOf(k, needs, c.plan(needs))
		plans[string(key)] = j
	}
	return c.fitTolerance(k, &g, d, size, j), true
}

// planKey names all that a plan follows from.
func planKey(needs []need) []byte {
	key := make([]byte, 0, 512)
	add := func(x uint64) { key = binary.LittleEndian.AppendUint64(key, x) }
	for i := range needs {
		n := &needs[i]
		key = append(key, n.name...)
		add(uint64(n.family))
		add(math.Float64bits(n.tolerance))
		for j := range n.options {
			o := &n.options[j]
			add(math.Float64bits(o.depth))
			add(math.Float64bits(o.err))
			add(o.tools)
			add(uint64(o.frame+1)<<32 | uint64(o.cuts)<<16 | uint64(o.passes))
		}
	}
	return key
}

// surely reports whether the odds stay under the caution whatever the plan: with n sides, m the margin over the least
// gap at the worst of the sizes that the crib comes near (the recess is hit exactly), and the deviation with the most
// passes there can be,
//
//	P <= n Q(m/deviation)
//
// for of all sides each alone is under with Q(m/deviation).
func (c *Crib) surely(k *part.Configuration, g *part.Geometry, d shop.Documents, s *Stacker, limits shop.Fit) bool {
	resin, _ := d.Materials.Resin(k.Laminate.Resin)
	size := c.moldScale(k, d)
	margin := g.Fit.LeastClearance - k.Lid.LeastGap + k.Lid.Gap*(size*(1-resin.Shrinkage)-1) - c.practice.SizeTolerance
	if margin <= 0 {
		return false
	}
	half := size * math.Max(g.Outlines.Recess.Length(), g.Outlines.Recess.Width()) / 2
	sides := float64(max(1, len(g.Outlines.Lid.Corners())))
	boards := c.mostBoardPasses(k, g, d, s)
	deviation := math.Max(c.deviation(true, 2*mostApart*c.limit+boards, half, resin.Shrinkage), c.deviation(false, 2*mostTogether*c.limit+boards, half, resin.Shrinkage))
	return sides*math.Erfc(margin/(deviation*math.Sqrt2))/2 <= limits.OddsCaution
}

// How many moves of Crib.limit rabbets can lie between recess and lid. From one master: two moves, each with the other
// needs on its way, in a star three. From two: those of the recess, which shares its group with two needs at most, or
// one each.
const (
	mostApart    = 2
	mostTogether = 3
)

// deviation is that of a gap at one place, both edges from one master or from two, with so many passes of bearings.
func (c *Crib) deviation(apart bool, passes int, half, shrinkage float64) float64 {
	a := c.practice
	square := func(d Distribution, size float64) float64 { v := d.deviation(size); return v * v }
	sum := float64(passes)*(square(Normal, a.CopyError)+square(Uniform, a.BitError/2)) +
		2*square(Normal, a.FairingError) + 2*square(Normal, a.ShrinkageVariation*shrinkage*half) + square(Uniform, a.TrimError)
	if apart {
		sum += 2 * square(Normal, a.LayoutError)
	}
	return math.Sqrt(sum)
}

// mostBoardPasses bounds the passes that are no rabbets: a hole template for each board, and the boards' own cuts, by
// the shortest bit through stacks that are at most a sheet thicker than asked.
func (c *Crib) mostBoardPasses(k *part.Configuration, g *part.Geometry, d shop.Documents, s *Stacker) int {
	sheet := s.sheets[0].Thickness
	seat := 0.0
	for i := range walls {
		if w := &walls[i]; w.height != nil && k.HasLeg(w.leg) {
			seat += w.height(k) + sheet
		}
	}
	bit := tool{length: c.shortest}
	return 2 + bit.passes(seat) + bit.passes(g.SkirtHeight+d.Profile.Tooling.RimRadius+sheet)
}

// usualPasses are more than the example's hatches have between recess and lid.
const usualPasses = 8

// FitMargin is how much more than the least gap a hatch's clearance is to be drawn, so that with the shop's usual
// errors the odds of coming out under it stay below the shop's caution: for a default gap, before there is any plan.
// side is the longest of the recess, mm, sides are how many vary on their own.
//
//	m = z deviation + 2 size tolerance,   n Q(z) = caution
func FitMargin(side float64, sides int, shrinkage float64, d shop.Documents, c *Crib) float64 {
	z := math.Sqrt2 * math.Erfinv(math.Max(0, 1-2*d.Profile.Fit.Filled().OddsCaution/float64(max(1, sides))))
	return z*c.deviation(true, usualPasses, side/2, shrinkage) + 2*c.practice.SizeTolerance
}
