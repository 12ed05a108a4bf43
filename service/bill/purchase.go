package bill

import "math"

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
}

// Purchases returns the buy list, in the order in which the materials first appear.
// stock is what is at hand by key, in the line's unit; nil: nothing. Figures below 0
// count as nothing.
func (b Bill) Purchases(stock map[string]float64) []Purchase {
	var out []Purchase
	index := map[string]int{}
	for _, l := range b.Lines {
		i, ok := index[l.Key]
		if !ok {
			i = len(out)
			index[l.Key] = i
			out = append(out, Purchase{Key: l.Key, Name: l.Name, Unit: l.Unit, Pack: l.Pack})
		}
		out[i].Gross += l.Gross
	}
	for i := range out {
		p := &out[i]
		if at := stock[p.Key]; at > 0 {
			p.FromStock = math.Min(at, p.Gross)
		}
		p.Buy = p.Gross - p.FromStock
		p.Packs = int(math.Ceil(p.Buy/p.Pack - packSlack))
		p.Left = math.Max(0, float64(p.Packs)*p.Pack-p.Buy)
	}
	return out
}
