// Package stockroom holds the rules of the shop's stock: amounts, which lots are
// taken first, what is past its date, what runs short and when to buy it.
//
// Amounts are counted in millionths of a material's unit (kg, m2, L, m, piece), so
// that sums are exact. Dates are local dates of the shop. A lot is good through
// its expiry date and not after.
//
//	received        today       expiry
//	   |--------------+------------]x    taken first: the lot that expires first
//	        |---------+-----------------------]x
//	             |----+------------------------------- ...   never expires: last
//
// It refuses, as a *Refusal that names a stable reason: amounts that would leave
// less than nothing, or less than is reserved; lots that are past their date;
// amounts that are no numbers or beyond all measure.
//
// Source of the rules: first expired, first out is common practice, no source.
package stockroom
