package laminate

// Usual is the span of catalyst or hardener, percent by mass, that is worked with
// every day. A dose outside it may be what a product's own sheet says, for the cold or
// the heat, and is told all the same: a slip in the sheet's copy looks just like it.
type Usual struct {
	Least, Most float64
	Source      string
}

// What is usual.
var (
	// UsualResin is of laminating resin.
	UsualResin = Usual{1, 2.5, "laminating resin data sheet: 1.0 to 2.5 % of the resin's mass"}
	// UsualGelcoat is of gelcoat.
	UsualGelcoat = Usual{1.2, 3, "supplier's application page for gelcoat: 1.2 to 3 %"}
	// UsualHardener is of body filler.
	UsualHardener = Usual{1, 3, "published for body filler: 1 to 3 % of the paste hardener"}
)

// percentSlack keeps a dose on an end of the span within it: far below the step that
// a shop can measure out.
const percentSlack = 1e-9

// Beyond tells the end of the span that a dose passes; false for a dose within.
func (u Usual) Beyond(percent float64) (end float64, beyond bool) {
	switch {
	case percent < u.Least-percentSlack:
		return u.Least, true
	case percent > u.Most+percentSlack:
		return u.Most, true
	}
	return 0, false
}
