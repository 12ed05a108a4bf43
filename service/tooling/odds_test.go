package tooling

import (
	"testing"

	"hatchwright/service/part"
	"hatchwright/service/shop"
)

func BenchmarkRuleOdds(b *testing.B) {
	d := shop.Example()
	s, crib := NewStacker(d.Profile.Sheets, DeepestStack), NewCrib(d.Profile)
	for _, p := range part.Patterns {
		c := hatchOf(d, p, 620, 480, 90)
		g := stand(b, &c)
		b.Run(string(p), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				RuleOdds(&c, &g, d, s, crib, Plans{})
			}
		})
	}
}
