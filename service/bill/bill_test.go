package bill

import (
	"errors"
	"math"
	"strconv"
	"testing"

	"github.com/govalues/decimal"
	"pgregory.net/rapid"

	"hatchwright/service/money"
	"hatchwright/service/shop"
)

func exactly(t testing.TB, s string) shop.Exact {
	d, err := decimal.Parse(s)
	if err != nil {
		t.Fatal(err)
	}
	return shop.Exact{Decimal: d}
}

// TestByHand is a bill worked by hand (common practice, no source): 3 hatches,
// 10 kg of resin with 10 % waste at 118.00 for 20 kg, 2 pieces at 46.00, a mold of
// 1.5 m2 of board with 20 % waste at 52.90 for 2.9768 m2; 5 hours on the part and 4
// on the mold at 60.00; overhead 22 %, margin 30 %, 4 % off from 3 pieces on.
//
//	resin     11 kg × 5.90 = 64.90          pieces 92.00         material 156.90
//	labor     300.00                        overhead 66.00
//	mold      1.8 × 52.90/2.9768 = 31.99 (31.987…) + 240.00 + 52.80 = 324.79
//	work      522.90, margin 156.87; mold's margin 97.44 (97.437, half even)
//	discount  4 % of 679.77 = 27.19
//	price     522.90 + 324.79 + 254.31 - 27.19 = 1074.81, each 358.27
func TestByHand(t *testing.T) {
	book := &shop.PriceBook{
		Currency: "USD", Overhead: exactly(t, "0.22"), Margin: exactly(t, "0.30"), MoldCharge: "once",
		Prices: map[string]shop.Price{
			"resin": {Unit: "kg", Pack: 20, Per: exactly(t, "118.00")}, "latch": {Unit: "piece", Pack: 1, Per: exactly(t, "46.00")},
			"board": {Unit: "m2", Pack: 2.9768, Per: exactly(t, "52.90")},
		},
		HourlyRates: map[string]shop.Exact{"bench": exactly(t, "60.00")},
		Breaks:      []shop.Break{{From: 3, Discount: exactly(t, "0.04")}},
	}
	b, err := Make([]Need{
		{Key: "resin", Purpose: ForPart, Net: 10, Unit: "kg", Waste: 0.1},
		{Key: "latch", Purpose: ForPart, Net: 2, Unit: "piece"},
		{Key: "board", Purpose: ForMold, Net: 1.5, Unit: "m2", Waste: 0.2},
	}, []Hours{{Kind: "lay", Center: "bench", Hours: 5}, {Kind: "cut", Center: "bench", Hours: 4, Mold: true}}, 3, book)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		got  money.Amount
		want string
	}{
		"resin": {b.Lines[0].Cost, "64.90"}, "latch": {b.Lines[1].Cost, "92.00"}, "board": {b.Lines[2].Cost, "31.99"},
		"material": {b.Totals.Material, "156.90"}, "labor": {b.Totals.Labor, "300.00"}, "overhead": {b.Totals.Overhead, "66.00"},
		"mold": {b.Totals.Mold, "324.79"}, "margin": {b.Totals.Margin, "254.31"}, "discount": {b.Totals.Discount, "27.19"},
		"price": {b.Totals.Price, "1074.81"}, "each": {b.Totals.PriceEach, "358.27"},
	} {
		if c.got.Value.String() != c.want {
			t.Errorf("%s %v, want %s", name, c.got, c.want)
		}
	}
	if p := b.Lines[0]; p.Packs != 1 || math.Abs(p.Gross-11) > 1e-12 {
		t.Errorf("resin line %+v", p)
	}
}

// TestTotalsAreSumsOfRoundedLines: in currencies of 0, 2 and 3 decimals every
// amount stands on the minor unit and the totals are sums of rounded lines.
func TestTotalsAreSumsOfRoundedLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		currency := rapid.SampledFrom([]string{"JPY", "USD", "KWD"}).Draw(t, "currency")
		places := map[string]int{"JPY": 0, "USD": 2, "KWD": 3}[currency]
		amount := func(name string, most int) shop.Exact {
			x := rapid.IntRange(0, most).Draw(t, name)
			d, err := decimal.New(int64(x), places)
			if err != nil {
				t.Fatal(err)
			}
			return shop.Exact{Decimal: d}
		}
		share := func(name string) shop.Exact {
			d, err := decimal.New(int64(rapid.IntRange(0, 900).Draw(t, name)), 3)
			if err != nil {
				t.Fatal(err)
			}
			return shop.Exact{Decimal: d}
		}
		book := &shop.PriceBook{
			Currency: currency, Overhead: share("overhead"), Margin: share("margin"), MoldCharge: rapid.SampledFrom([]string{"once", "spread"}).Draw(t, "charge"),
			MoldPieces: rapid.IntRange(1, 40).Draw(t, "mold pieces"), Prices: map[string]shop.Price{}, HourlyRates: map[string]shop.Exact{"bench": amount("rate", 100_000)},
			Breaks: []shop.Break{{From: 3, Discount: share("discount")}},
		}
		quantity := rapid.IntRange(1, 20).Draw(t, "quantity")
		var needs []Need
		for i := range rapid.IntRange(0, 8).Draw(t, "lines") {
			key := "k" + strconv.Itoa(i%5) // some keys on two lines
			book.Prices[key] = shop.Price{Unit: "kg", Pack: rapid.Float64Range(0.01, 90).Draw(t, "pack"), Per: amount("price", 1_000_000)}
			n := Need{Key: key, Unit: "kg", Net: rapid.Float64Range(1e-4, 500).Draw(t, "net"), Waste: rapid.Float64Range(0, 1).Draw(t, "waste"),
				Purpose: rapid.SampledFrom([]string{ForMold, ForPart, ForConsumable}).Draw(t, "purpose")}
			if rapid.Bool().Draw(t, "roll") {
				n.Gross = n.Net * rapid.Float64Range(1, 3).Draw(t, "gross")
			}
			needs = append(needs, n)
		}
		var hours []Hours
		for range rapid.IntRange(0, 5).Draw(t, "kinds") {
			hours = append(hours, Hours{Center: "bench", Hours: rapid.Float64Range(0, 80).Draw(t, "hours"), Mold: rapid.Bool().Draw(t, "mold")})
		}
		b, err := Make(needs, hours, quantity, book)
		if err != nil {
			t.Fatal(err)
		}
		minor := func(name string, a money.Amount) {
			if a.Currency != currency || a.Value.Scale() != places {
				t.Fatalf("%s %v does not stand on the minor unit of %s", name, a, currency)
			}
		}
		material, mold := money.Zero(currency), money.Zero(currency)
		add := func(to *money.Amount, a money.Amount) {
			var err error
			if *to, err = to.Add(a); err != nil {
				t.Fatal(err)
			}
		}
		for _, l := range b.Lines {
			minor(l.Key, l.Cost)
			if l.Purpose == ForMold {
				add(&mold, l.Cost)
			} else {
				add(&material, l.Cost)
			}
			if l.Gross < l.Net-1e-12 || math.Abs(l.Gross-l.Net*(1+l.Waste)) > 1e-9*l.Gross {
				t.Fatalf("line %+v: gross is not net and its waste", l)
			}
		}
		labor, moldLabor := money.Zero(currency), money.Zero(currency)
		for _, l := range b.Labor {
			minor(l.Kind, l.Cost)
			if l.Mold {
				add(&moldLabor, l.Cost)
			} else {
				add(&labor, l.Cost)
			}
		}
		k := b.Totals
		for name, a := range map[string]money.Amount{"material": k.Material, "labor": k.Labor, "overhead": k.Overhead, "mold": k.Mold, "margin": k.Margin, "discount": k.Discount, "each": k.PriceEach, "price": k.Price} {
			minor(name, a)
		}
		if k.Material.Value.Cmp(material.Value) != 0 || k.Labor.Value.Cmp(labor.Value) != 0 {
			t.Fatalf("totals %+v are not the sums %v and %v", k, material, labor)
		}
		price := money.Zero(currency)
		for _, a := range []money.Amount{k.Material, k.Labor, k.Overhead, k.Mold, k.Margin, {Value: k.Discount.Value.Neg(), Currency: currency}} {
			add(&price, a)
		}
		if price.Value.Cmp(k.Price.Value) != 0 {
			t.Fatalf("price %v, its parts add up to %v", k.Price, price)
		}
		if book.MoldCharge == "once" {
			whole := money.Zero(currency)
			over, err := moldLabor.Times(book.Overhead.Decimal)
			if err != nil {
				t.Fatal(err)
			}
			for _, a := range []money.Amount{mold, moldLabor, over} {
				add(&whole, a)
			}
			if whole.Value.Cmp(k.Mold.Value) != 0 {
				t.Fatalf("mold %v, want %v", k.Mold, whole)
			}
		}
		// Stock: what is bought and taken is what is needed, with the fewest packs.
		stock := map[string]float64{"k0": rapid.Float64Range(0, 900).Draw(t, "stock"), "k1": -1}
		sum := map[string]float64{}
		for _, l := range b.Lines {
			sum[l.Key] += l.Gross
		}
		price0, lines := b.Totals, len(b.Lines)
		if err := b.Take(stock); err != nil {
			t.Fatal(err)
		}
		if b.Totals != price0 || len(b.Lines) != lines {
			t.Fatalf("stock changed the price from %v to %v", price0, b.Totals)
		}
		list, spend := b.Purchases, money.Zero(currency)
		if len(list) != len(sum) {
			t.Fatalf("%d purchases of %d materials", len(list), len(sum))
		}
		for _, p := range list {
			if math.Abs(p.FromStock+p.Buy-sum[p.Key]) > 1e-9*sum[p.Key] || p.FromStock > math.Max(0, stock[p.Key]) || p.Buy < 0 {
				t.Fatalf("purchase %+v of %v", p, sum[p.Key])
			}
			if held := float64(p.Packs) * p.Pack; held < p.Buy*(1-1e-9)-1e-9*p.Pack || p.Packs > 0 && held-p.Pack >= p.Buy {
				t.Fatalf("%d packs of %v for %v", p.Packs, p.Pack, p.Buy)
			}
			minor(p.Key, p.Cost)
			packs, err := decimal.New(int64(p.Packs), 0)
			if err != nil {
				t.Fatal(err)
			}
			cost, err := book.Prices[p.Key].Per.Mul(packs)
			if err != nil || cost.Cmp(p.Cost.Value) != 0 { // prices of packs stand on the minor unit here
				t.Fatalf("%d packs at %v cost %v: %v", p.Packs, book.Prices[p.Key].Per, p.Cost, err)
			}
			add(&spend, p.Cost)
		}
		if spend.Value.Cmp(b.Spend.Value) != 0 {
			t.Fatalf("to spend %v, the purchases add up to %v", b.Spend, spend)
		}
	})
}

// TestMissing: a price that is not there, or by another unit, is named, never 0.
func TestMissing(t *testing.T) {
	book := &shop.PriceBook{Currency: "USD", Prices: map[string]shop.Price{"resin": {Unit: "L", Pack: 1, Per: exactly(t, "5")}}, MoldCharge: "once"}
	needs := []Need{{Key: "resin", Net: 1, Unit: "kg"}, {Key: "cloth", Net: 1, Unit: "m2"}, {Key: "cloth", Net: 2, Unit: "m2"}}
	list := Missing(needs, []Hours{{Center: "bench", Hours: 1}}, book)
	if len(list) != 3 || list[0].Key != "resin" || list[0].Has != "L" || list[1].Key != "cloth" || list[2].Key != "bench" {
		t.Errorf("missing %+v", list)
	}
	for _, m := range list {
		if m.Error() == "" {
			t.Error("a missing price says nothing")
		}
	}
	_, err := Make(needs, nil, 1, book)
	var missing *MissingPriceError
	if !errors.As(err, &missing) || missing.Key != "resin" {
		t.Errorf("error %v", err)
	}
}
