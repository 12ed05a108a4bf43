package tooling

import (
	"testing"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

func BenchmarkRuleOdds(b *testing.B) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	for _, p := range []string{part.FlushLedge, part.FlushGutter, part.RaisedCoaming, part.BoltedPlate} {
		c := hatchOf(d, p, 620, 480, 90)
		g := stand(b, &c)
		b.Run(p, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				RuleOdds(&c, &g, d, s, crib, Plans{})
			}
		})
	}
}
