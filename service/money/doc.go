// Package money holds amounts of one currency, in decimal.
//
// An amount is rounded to the currency's minor unit once, half to even, where a
// line is made; totals are sums of rounded lines. It refuses to add amounts of
// two currencies and to overflow. The number of decimals of each currency is
// from ISO 4217 (from memory for the few that are listed).
package money
