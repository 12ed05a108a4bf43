package storetest

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"hatchwright/service/register"
	"hatchwright/store"
)

// BenchNear looks up molds within 5 mm in registers of growing size: hatches from
// 180 to 1800 mm, all of one class, which is the worst. open opens a migrated, empty
// store; settle lets the engine take note of what was written.
func BenchNear(b *testing.B, open func(testing.TB) store.Store, settle func(testing.TB, store.Store)) {
	for _, size := range []int{1_000, 10_000, 100_000} {
		b.Run(fmt.Sprintf("molds=%d", size), func(b *testing.B) {
			ctx, shop := b.Context(), store.ShopScope()
			s := open(b)
			random := rand.New(rand.NewPCG(1, 2))
			if err := s.InTx(ctx, func(tx store.Tx) error {
				for n := range size {
					m := mold(n+1, nil)
					m.Tag, m.Fingerprint, m.Set = "", fmt.Sprint(n), fmt.Sprint(n)
					m.Short = 180 + float64(random.IntN(1000))
					m.Long = m.Short + float64(random.IntN(620))
					m.Face = []byte(`{"part":"receiver","outlines":[{"name":"recess","outline":"outline(-260 -190 r60; 260 -190 r60; 260 190 r60; -260 190 r60)"}]}`)
					if err := tx.Molds().Insert(ctx, shop, m); err != nil {
						return err
					}
				}
				return nil
			}); err != nil {
				b.Fatal(err)
			}
			settle(b, s)
			found := 0
			for b.Loop() {
				short := 300 + float64(random.IntN(700))
				bounds := store.MoldBounds{Class: mold(1, nil).Class, ShortLeast: short - 5, ShortMost: short + 5}
				long := short + float64(random.IntN(400))
				bounds.LongLeast, bounds.LongMost = long-5, long+5
				bounds.Strips = register.Bounds{LongLeast: bounds.LongLeast, LongMost: bounds.LongMost}.Strips()
				list, err := s.Molds().Near(ctx, shop, bounds, 100)
				if err != nil {
					b.Fatal(err)
				}
				found += len(list)
			}
			b.ReportMetric(float64(found)/float64(b.N), "found/op")
		})
	}
}
