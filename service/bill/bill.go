package bill

import (
	"fmt"
	"math"
	"strconv"

	"github.com/govalues/decimal"

	"hatchwright/service/money"
	"hatchwright/service/shop"
)

// The purposes of a line.
const (
	ForMold       = "mold"
	ForPart       = "part"
	ForConsumable = "consumable"
)

// Need is a net quantity of a material.
type Need struct {
	Key     string
	Name    string
	Purpose string
	Part    string  // the part, or the mold's part, that takes it; "" for the whole hatch
	Net     float64 // in the price book's unit of the key
	Unit    string  // the unit that Net is counted in, checked against the price book's
	Waste   float64
	From    string // JSON pointer to the figure that Net came from
	// Gross is what must be bought where a layout says so (glass cut from a roll);
	// 0: Net and its waste. Waste is then what the layout leaves.
	Gross float64
	Roll  *Roll // nil for what does not come on a roll
}

// Roll is how pieces are cut from a roll.
type Roll struct {
	Width  float64 // mm
	Length float64 // to cut off, mm
	Bound  float64 // no layout is shorter, mm
	Pieces int
}

// Line is a need with what it takes to buy it.
type Line struct {
	Need
	Pack         float64
	Packs        int
	PricePerPack money.Amount
	Cost         money.Amount
}

// Hours is labor of one operation kind at a work center.
type Hours struct {
	Kind   string
	Center string
	Hours  float64 // person-hours
	Mold   bool
}

// Labor is hours with their cost.
type Labor struct {
	Hours
	Rate money.Amount // per hour
	Cost money.Amount
}

// Totals is how the price is made. Everything is for the whole quantity but
// PriceEach.
type Totals struct {
	Material  money.Amount // part and consumable lines
	Labor     money.Amount // of the parts
	Overhead  money.Amount
	Mold      money.Amount // material, labor and overhead of the molds, as charged
	Margin    money.Amount
	Discount  money.Amount // quantity break, taken off
	PriceEach money.Amount
	Price     money.Amount
}

// Bill is what to buy, the work and the price.
type Bill struct {
	Currency string
	Lines    []Line
	Labor    []Labor
	Totals   Totals
	// Purchases are what to buy, in the order in which the materials first appear;
	// without any stock until Take is told of some. Spend is what that costs.
	Purchases []Purchase
	Spend     money.Amount
}

// MissingPriceError says which price the book has not.
type MissingPriceError struct {
	Key, Unit string
	Has       string // the unit it has, when the unit is what differs
}

func (e *MissingPriceError) Error() string {
	if e.Has != "" {
		return fmt.Sprintf("price book: %q is priced by the %s and needed by the %s: give its price by the %s", e.Key, e.Has, e.Unit, e.Unit)
	}
	return fmt.Sprintf("price book: no price for %q: add one by the %s", e.Key, e.Unit)
}

// quantityPlaces is the grain of gross quantities in money sums: a millionth of a
// unit is worth less than any minor unit of money.
const quantityPlaces = 6

func exact(x float64) (decimal.Decimal, error) {
	return decimal.Parse(strconv.FormatFloat(x, 'f', quantityPlaces, 64))
}

// packSlack keeps 2.0000000001 packs from becoming three: far below any scale in
// a shop, far above float64 noise.
const packSlack = 1e-9

// Make prices needs and hours for a quantity of hatches.
func Make(needs []Need, hours []Hours, quantity int, book *shop.PriceBook) (Bill, error) {
	b := Bill{Currency: book.Currency}
	zero := money.Zero(book.Currency)
	mold, part := zero, zero
	for _, n := range needs {
		line, err := price(n, book)
		if err != nil {
			return b, err
		}
		b.Lines = append(b.Lines, line)
		if n.Purpose == ForMold {
			mold, err = mold.Add(line.Cost)
		} else {
			part, err = part.Add(line.Cost)
		}
		if err != nil {
			return b, err
		}
	}
	moldLabor, partLabor := zero, zero
	for _, h := range hours {
		l, err := pay(h, book)
		if err != nil {
			return b, err
		}
		b.Labor = append(b.Labor, l)
		if h.Mold {
			moldLabor, err = moldLabor.Add(l.Cost)
		} else {
			partLabor, err = partLabor.Add(l.Cost)
		}
		if err != nil {
			return b, err
		}
	}
	var err error
	if b.Totals, err = total(part, partLabor, mold, moldLabor, quantity, book); err != nil {
		return b, err
	}
	return b, b.Take(nil)
}

// Missing lists every price that the needs and hours ask for and the book has not,
// each once, in their order.
func Missing(needs []Need, hours []Hours, book *shop.PriceBook) []*MissingPriceError {
	var out []*MissingPriceError
	told := map[string]bool{}
	miss := func(e *MissingPriceError) {
		if !told[e.Key] {
			told[e.Key] = true
			out = append(out, e)
		}
	}
	for _, n := range needs {
		if p, ok := book.Prices[n.Key]; !ok {
			miss(&MissingPriceError{Key: n.Key, Unit: n.Unit})
		} else if p.Unit != n.Unit {
			miss(&MissingPriceError{Key: n.Key, Unit: n.Unit, Has: p.Unit})
		}
	}
	for _, h := range hours {
		if _, ok := book.HourlyRates[h.Center]; !ok {
			miss(&MissingPriceError{Key: h.Center, Unit: "hour"})
		}
	}
	return out
}

func price(n Need, book *shop.PriceBook) (Line, error) {
	p, ok := book.Prices[n.Key]
	if !ok {
		return Line{}, &MissingPriceError{Key: n.Key, Unit: n.Unit}
	}
	if p.Unit != n.Unit {
		return Line{}, &MissingPriceError{Key: n.Key, Unit: n.Unit, Has: p.Unit}
	}
	l := Line{Need: n, Pack: p.Pack, PricePerPack: money.Round(p.Per.Decimal, book.Currency)}
	if n.Gross == 0 {
		l.Gross = n.Net * (1 + n.Waste)
	} else if n.Net > 0 {
		l.Waste = n.Gross/n.Net - 1
	}
	l.Packs = int(math.Ceil(l.Gross/p.Pack - packSlack))
	gross, err := exact(l.Gross)
	if err != nil {
		return l, fmt.Errorf("bill: gross quantity of %q: %w", n.Key, err)
	}
	pack, err := exact(p.Pack)
	if err != nil {
		return l, fmt.Errorf("bill: pack of %q: %w", n.Key, err)
	}
	cost, err := gross.Mul(p.Per.Decimal)
	if err == nil {
		cost, err = cost.Quo(pack)
	}
	if err != nil {
		return l, fmt.Errorf("bill: cost of %q: %w", n.Key, err)
	}
	l.Cost = money.Round(cost, book.Currency)
	return l, nil
}

func pay(h Hours, book *shop.PriceBook) (Labor, error) {
	rate, ok := book.HourlyRates[h.Center]
	if !ok {
		return Labor{}, &MissingPriceError{Key: h.Center, Unit: "hour"}
	}
	hours, err := exact(h.Hours)
	if err != nil {
		return Labor{}, fmt.Errorf("bill: hours of %q: %w", h.Kind, err)
	}
	cost, err := hours.Mul(rate.Decimal)
	if err != nil {
		return Labor{}, fmt.Errorf("bill: labor of %q: %w", h.Kind, err)
	}
	return Labor{Hours: h, Rate: money.Round(rate.Decimal, book.Currency), Cost: money.Round(cost, book.Currency)}, nil
}

// total makes the price:
//
//	overhead = share × labor
//	mold     = mold lines + mold labor × (1 + overhead share), once or by the piece
//	margin   = share × (material + labor + overhead + mold)
//	discount = break × (material + labor + overhead + margin on them)
//	price    = the sum, less the discount
func total(part, partLabor, mold, moldLabor money.Amount, quantity int, book *shop.PriceBook) (Totals, error) {
	var t Totals
	c := calculator{currency: book.Currency}
	t.Material, t.Labor = part, partLabor
	t.Overhead = c.times(partLabor, book.Overhead.Decimal)
	t.Mold = c.sum(mold, moldLabor, c.times(moldLabor, book.Overhead.Decimal))
	if book.MoldCharge == "spread" {
		share, err := decimal.New(int64(min(quantity, book.MoldPieces)), 0)
		c.keep(err)
		of, err := decimal.New(int64(book.MoldPieces), 0)
		c.keep(err)
		if c.err == nil {
			q, err := share.Quo(of)
			c.keep(err)
			t.Mold = c.times(t.Mold, q)
		}
	}
	work := c.sum(t.Material, t.Labor, t.Overhead)
	marginWork := c.times(work, book.Margin.Decimal)
	t.Margin = c.sum(marginWork, c.times(t.Mold, book.Margin.Decimal))
	off := decimal.Zero
	for _, k := range book.Breaks {
		if quantity >= k.From && k.Discount.Cmp(off) > 0 {
			off = k.Discount.Decimal
		}
	}
	t.Discount = c.times(c.sum(work, marginWork), off)
	t.Price = c.sum(work, t.Mold, t.Margin, money.Amount{Value: t.Discount.Value.Neg(), Currency: book.Currency})
	if n, err := decimal.New(int64(quantity), 0); c.err == nil {
		c.keep(err)
		each, err := t.Price.Value.Quo(n)
		c.keep(err)
		t.PriceEach = money.Round(each, book.Currency)
	}
	return t, c.err
}

// calculator keeps the first error of a chain of sums.
type calculator struct {
	currency string
	err      error
}

func (c *calculator) keep(err error) {
	if c.err == nil {
		c.err = err
	}
}

func (c *calculator) sum(list ...money.Amount) money.Amount {
	total, err := money.Sum(c.currency, list...)
	c.keep(err)
	return total
}

func (c *calculator) times(a money.Amount, factor decimal.Decimal) money.Amount {
	out, err := a.Times(factor)
	c.keep(err)
	return out
}
