// Package bill turns a derivation's quantities into what to buy and what it
// costs.
//
// A line has a net quantity that traces to a figure of the same derivation (a
// JSON pointer), a waste share, a gross quantity, packs to buy and a cost. Money
// is decimal, rounded once a line, half to even; totals are sums of rounded
// lines. What a line costs is the gross quantity at the pack's price per unit:
// the packs tell the buyer what to order, and what is left over stays in stock.
//
// It refuses, by naming it, a material that the price book has no price for: a
// missing price is never a silent zero.
package bill
