package derivation

import (
	"hatchwright/service/finding"
	"hatchwright/service/laminate"
	"hatchwright/service/quantity"
	"hatchwright/service/shop"
)

// ruleDose rules on how much catalyst and hardener the mixes take at a temperature,
// °C: outside of what is usual somebody looks at the product's sheet before mixing.
// A dose that there is none of is ruleTemperature's matter.
func (e *Engine) ruleDose(resin shop.Resin, gelcoat shop.Gelcoat, t float64) []finding.Finding {
	var list []finding.Finding
	rule := func(code, pointer, what, product string, percent float64, u laminate.Usual) {
		end, beyond := u.Beyond(percent)
		if !beyond {
			return
		}
		f := finding.Finding{Code: code, Severity: finding.Caution, Pointer: pointer,
			Measured: quantity.Of(percent, quantity.Percent), Limit: quantity.Of(end, quantity.Percent), Source: u.Source}
		list = append(list, f.Say("%q is mixed with %v of %s at %v; %v to %v is usual. Hold it against the product's own sheet before anything is mixed.", product, f.Measured, what,
			quantity.Of(t, quantity.Celsius), quantity.Of(u.Least, quantity.Percent), quantity.Of(u.Most, quantity.Percent)))
	}
	if resin.Key != "" {
		r := resin.Material(e.docs.Materials.Catalyst)
		if percent, _, err := r.Dose(r.Key, t); err == nil {
			rule("laminate.catalyst_unusual", "/laminate/resin", "catalyst", r.Key, percent, laminate.UsualResin)
		}
	}
	if gelcoat.Key != "" {
		g := gelcoat.Material(e.docs.Materials.Catalyst)
		if percent, _, err := g.Dose(g.Key, t); err == nil {
			rule("gelcoat.catalyst_unusual", "/gelcoat/color", "catalyst", g.Key, percent, laminate.UsualGelcoat)
		}
	}
	paste := e.docs.Materials.Fillers[0]
	rule("mold.filler.hardener_unusual", "/receiver/root_radius", "hardener", paste.Key, paste.HardenerPercent, laminate.UsualHardener)
	return list
}
