package stockroom

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Amount is a quantity in millionths of its unit.
type Amount int64

// Unit is one whole unit.
const Unit Amount = 1_000_000

// Largest is the most that is taken for an amount: a billion units, beyond any
// shop; sums of thousands of them do not overflow.
const Largest = 1_000_000_000 * Unit

// Of rounds a figure to the nearest millionth. Error: a *Refusal with WrongAmount
// for what is no number or beyond Largest.
func Of(x float64) (Amount, error) {
	m := math.Round(x * float64(Unit))
	if math.IsNaN(m) || math.Abs(m) > float64(Largest) {
		return 0, refuse(WrongAmount, "The amount %v is no quantity. Give a number of at most %d units.", x, Largest/Unit)
	}
	return Amount(m), nil
}

// Parse reads a decimal like "12.5", with at most six decimals. Error: a *Refusal
// with WrongAmount.
func Parse(s string) (Amount, error) {
	bad := func() (Amount, error) {
		return 0, refuse(WrongAmount, "%q is no quantity. Write a decimal like 12.5, with at most 6 decimals and at most %d units.", s, Largest/Unit)
	}
	text, negative := strings.CutPrefix(s, "-")
	whole, fraction, dotted := strings.Cut(text, ".")
	if whole == "" || len(whole) > 10 || (dotted && fraction == "") || len(fraction) > 6 || strings.Trim(whole+fraction, "0123456789") != "" {
		return bad()
	}
	units, err := strconv.ParseInt(whole, 10, 64)
	if err != nil {
		return bad()
	}
	millionths, err := strconv.ParseInt((fraction + "000000")[:6], 10, 64)
	if err != nil {
		return bad()
	}
	a := Amount(units)*Unit + Amount(millionths)
	if a > Largest {
		return bad()
	}
	if negative {
		a = -a
	}
	return a, nil
}

// String writes what Parse reads, with no more decimals than it takes.
func (a Amount) String() string {
	sign := ""
	if a < 0 {
		sign, a = "-", -a
	}
	text := fmt.Sprintf("%s%d.%06d", sign, a/Unit, a%Unit)
	return strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// Float is the amount in units.
func (a Amount) Float() float64 { return float64(a) / float64(Unit) }
