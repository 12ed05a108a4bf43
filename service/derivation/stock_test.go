package derivation

import (
	"strings"
	"testing"

	"hatchwright/service/civil"
	"hatchwright/service/finding"
)

// TestAgedStock has old lots of every kind of material on hand: each is told where the
// configuration asks for it, and none is counted; those of another unit neither.
func TestAgedStock(t *testing.T) {
	e := engine(t)
	today := civil.DateOf(monday, e.Location())
	old, far := today.AddDays(-3), today.AddDays(400)
	for key, pointer := range map[string]string{
		"general-purpose polyester": "/laminate/resin", "peroxide catalyst": "/laminate/resin", "gelcoat white": "/gelcoat/color", "balsa-150-12": "/lid/core",
		"mat-450": "/laminate/schedule", "body filler": "/pattern", "seal strip": "/seal/width", "flush latch": "/hardware/1/item", "mdf-19": "/pattern",
	} {
		for code, lots := range map[string][]Lot{
			"stock.past_age":     {{OnHand: 3, Free: 3, Expires: &old}},
			"stock.unit_differs": {{Unit: "gallon", OnHand: 3, Free: 3, Expires: &far}},
			"":                   {{OnHand: 1e-3, Free: 1e-3, Expires: &far}, {OnHand: 1e-3, Free: 1e-3}},
		} {
			out := derive(t, e, fitted(t))
			price, unit := out.Bill.Totals, e.docs.Prices.Prices[key].Unit
			for i := range lots {
				lots[i].Material = key
				if lots[i].Unit == "" {
					lots[i].Unit = unit
				}
			}
			if err := e.TakeStock(&out, &out.Bill, lots, today); err != nil {
				t.Fatal(err)
			}
			taken := 0.0
			for _, p := range out.Bill.Purchases {
				if p.FromStock > 0 && p.Key != key {
					t.Errorf("%v of %s taken", p.FromStock, p.Key)
				}
				taken += p.FromStock
			}
			var f *finding.Finding
			for i := range out.Findings {
				if strings.HasPrefix(out.Findings[i].Code, "stock.") {
					if f != nil {
						t.Errorf("%s: %s and %s", key, f.Code, out.Findings[i].Code)
					}
					f = &out.Findings[i]
				}
			}
			switch {
			case code == "" && (f != nil || taken < 2e-3-1e-12):
				t.Errorf("%s: %v taken, %+v", key, taken, f)
			case code != "" && (f == nil || f.Code != code || f.Pointer != pointer || taken != 0 || !strings.Contains(f.Message(0), key) || out.Verdict != finding.MakeableWithCautions):
				t.Errorf("%s %s: %v taken, %+v", key, code, taken, f)
			}
			if out.Bill.Totals != price {
				t.Errorf("%s: the price changed", key)
			}
		}
	}
}
