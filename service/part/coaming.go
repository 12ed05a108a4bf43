package part

import (
	"hatchwright/service/finding"
	"hatchwright/service/quantity"
)

// deckClearance is how far a coaming lid's skirt must stay above the deck beyond
// the edge radius, mm (shop rule: water and a hand pass under it).
const deckClearance = 10.0

// ruleCoaming rules on the coaming's height and the skirt's overlap.
func ruleCoaming(c *Configuration, s Sizes) []finding.Finding {
	var list []finding.Finding
	k := c.Coaming
	if least := s.CoamingHeight[c.Seal.Tightness]; k.Height < least-measureSlack {
		f := finding.Finding{
			Code: "coaming.too_low", Severity: finding.Error, Pointer: "/coaming/height",
			Measured: quantity.Length(k.Height), Limit: quantity.Length(least),
			Mends:  []finding.Mend{finding.AtLeast("/coaming/height", quantity.Length(least))},
			Source: "shop setting by tightness; no open published figure: class rules decide",
		}.Say("A coaming of %v is too low for tightness %q; %v is asked for.", quantity.Length(k.Height), c.Seal.Tightness, quantity.Length(least))
		for _, w := range []string{Splash, Drip} {
			f.Mends = append(f.Mends, finding.Choose("/seal/tightness", w))
		}
		list = append(list, f)
	}
	if most := k.Height - c.Receiver.EdgeRadius - deckClearance; k.Overlap > most+measureSlack {
		f := finding.Finding{
			Code: "coaming.skirt_near_deck", Severity: finding.Error, Pointer: "/coaming/overlap",
			Measured: quantity.Length(k.Overlap), Limit: quantity.Length(most),
			Mends:  []finding.Mend{finding.Seek("/coaming/height", quantity.Up), finding.Seek(atEdge, quantity.Down)},
			Source: "shop rule: the skirt stays 10 mm above the radius at the deck",
		}.Say("A skirt that overlaps the coaming by %v comes too near the deck; with this height %v is the most.", quantity.Length(k.Overlap), quantity.Length(most))
		if most > 0 {
			f.Mends = append(f.Mends, finding.AtMost("/coaming/overlap", quantity.Length(most)))
		}
		list = append(list, f)
	}
	return list
}
