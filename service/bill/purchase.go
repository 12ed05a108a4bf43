package bill

import (
	"fmt"
	"math"

	"github.com/govalues/decimal"

	"hatchwright/service/money"
)

// Purchase is what to buy of one material: all its lines together, stock taken
// first, whole packs.
type Purchase struct {
	Key, Name, Unit string
	Gross           float64 // of all lines
	FromStock       float64
	Buy             float64 // Gross less FromStock
	Pack            float64
	Packs           int
	Left            float64 // of the last pack
	PricePerPack    money.Amount
	Cost            money.Amount // of the packs, whole as they are bought
}

// Take works the buy list out anew with what is at hand taken first: by key, in the
// line's unit; nil: nothing. Figures below 0 count as nothing. It changes what is to be
// bought, and not the price of the hatch.
//
//	cost  = packs × price of a pack
//	spend = the sum of the costs
func (b *Bill) Take(stock map[string]float64) error {
	var out []Purchase
	index := map[string]int{}
	for _, l := range b.Lines {
		i, ok := index[l.Key]
		if !ok {
			i = len(out)
			index[l.Key] = i
			out = append(out, Purchase{Key: l.Key, Name: l.Name, Unit: l.Unit, Pack: l.Pack, PricePerPack: l.PricePerPack})
		}
		out[i].Gross += l.Gross
	}
	spend := money.Zero(b.Currency)
	for i := range out {
		p := &out[i]
		if at := stock[p.Key]; at > 0 {
			p.FromStock = math.Min(at, p.Gross)
		}
		p.Buy = p.Gross - p.FromStock
		p.Packs = int(math.Ceil(p.Buy/p.Pack - packSlack))
		p.Left = math.Max(0, float64(p.Packs)*p.Pack-p.Buy)
		n, err := decimal.New(int64(p.Packs), 0)
		if err == nil {
			p.Cost, err = p.PricePerPack.Times(n)
		}
		if err == nil {
			spend, err = spend.Add(p.Cost)
		}
		if err != nil {
			return fmt.Errorf("bill: %d packs of %q: %w", p.Packs, p.Key, err)
		}
	}
	b.Purchases, b.Spend = out, spend
	return nil
}
