package money

import (
	"errors"
	"fmt"

	"github.com/govalues/decimal"
)

// Decimals is the number of minor-unit decimals of a currency (ISO 4217, from
// memory); a currency that is not listed has two.
func Decimals(currency string) int {
	switch currency {
	case "JPY", "KRW", "ISK", "CLP", "VND", "XPF":
		return 0
	case "KWD", "BHD", "OMR", "TND", "JOD":
		return 3
	}
	return 2
}

// Amount is a sum of money, already rounded to its currency's minor unit.
type Amount struct {
	Value    decimal.Decimal
	Currency string
}

// ErrCurrency is returned when amounts of two currencies meet.
var ErrCurrency = errors.New("amounts of two currencies")

// Zero returns nothing, in the given currency.
func Zero(currency string) Amount {
	return Amount{decimal.Zero.Pad(Decimals(currency)), currency}
}

// Round rounds an exact figure to the currency's minor unit, half to even.
func Round(exact decimal.Decimal, currency string) Amount {
	places := Decimals(currency)
	return Amount{exact.Round(places).Pad(places), currency}
}

// Add returns a + b. It returns ErrCurrency for two currencies, or the
// library's error on overflow.
func (a Amount) Add(b Amount) (Amount, error) {
	if a.Currency != b.Currency {
		return Amount{}, fmt.Errorf("add %s to %s: %w", b.Currency, a.Currency, ErrCurrency)
	}
	sum, err := a.Value.Add(b.Value)
	if err != nil {
		return Amount{}, fmt.Errorf("add %v and %v: %w", a, b, err)
	}
	return Round(sum, a.Currency), nil
}

// Times returns a multiplied by an exact factor, rounded once.
func (a Amount) Times(factor decimal.Decimal) (Amount, error) {
	product, err := a.Value.Mul(factor)
	if err != nil {
		return Amount{}, fmt.Errorf("multiply %v by %v: %w", a, factor, err)
	}
	return Round(product, a.Currency), nil
}

// String writes the amount as "12.40 USD".
func (a Amount) String() string { return a.Value.String() + " " + a.Currency }

// Sum adds a list of amounts of one currency.
func Sum(currency string, list ...Amount) (Amount, error) {
	total := Zero(currency)
	for _, a := range list {
		var err error
		if total, err = total.Add(a); err != nil {
			return Amount{}, err
		}
	}
	return total, nil
}
