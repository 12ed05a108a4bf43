package outline

import (
	"strconv"
	"strings"
)

// String returns the outline in the text form [Parse] reads, x and y of each
// sharp corner and then its radius unless that is 0, mm, with as many digits as
// it takes to read back the same numbers:
//
//	outline(-50 -30 r5; 50 -30 r5; 50 30; -50 30)
func (o Outline) String() string {
	var b strings.Builder
	b.WriteString("outline(")
	for i, c := range o.corners {
		if i > 0 {
			b.WriteString("; ")
		}
		b.WriteString(number(c.At.X))
		b.WriteByte(' ')
		b.WriteString(number(c.At.Y))
		if c.Radius != 0 {
			b.WriteString(" r")
			b.WriteString(number(c.Radius))
		}
	}
	b.WriteByte(')')
	return b.String()
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// Parse reads the text form [Outline.String] writes. Blanks between the parts
// may be any number of spaces, tabs and line ends. Text that can not be read is
// a *[SyntaxError]; corners that are no outline give the errors of [New].
// "outline()" reads as the zero Outline.
func Parse(s string) (Outline, error) {
	r := reader{s: s}
	r.blank()
	if !r.take("outline") {
		return Outline{}, r.want(`"outline("`)
	}
	r.blank()
	if !r.take("(") {
		return Outline{}, r.want(`"("`)
	}
	r.blank()
	var corners []Corner
	if !r.take(")") {
		for {
			var c Corner
			var ok bool
			if c.At.X, ok = r.number(); !ok {
				return Outline{}, r.want("the x of a corner")
			}
			if c.At.Y, ok = r.number(); !ok {
				return Outline{}, r.want("the y of a corner")
			}
			if r.take("r") {
				if c.Radius, ok = r.number(); !ok {
					return Outline{}, r.want("a radius")
				}
			}
			corners = append(corners, c)
			if r.take(")") {
				break
			}
			if !r.take(";") {
				return Outline{}, r.want(`";" or ")"`)
			}
		}
	}
	r.blank()
	if r.at < len(s) {
		return Outline{}, r.want("nothing more")
	}
	if len(corners) == 0 {
		return Outline{}, nil
	}
	return New(corners)
}

type reader struct {
	s  string
	at int
}

func (r *reader) want(what string) error { return &SyntaxError{r.at, what} }

func (r *reader) blank() {
	for r.at < len(r.s) && strings.IndexByte(" \t\r\n", r.s[r.at]) >= 0 {
		r.at++
	}
}

func (r *reader) take(word string) bool {
	if strings.HasPrefix(r.s[r.at:], word) {
		r.at += len(word)
		return true
	}
	return false
}

// number reads a decimal number with the blanks round it.
func (r *reader) number() (float64, bool) {
	r.blank()
	end := r.at
	for end < len(r.s) && strings.IndexByte("+-.0123456789eE", r.s[end]) >= 0 {
		end++
	}
	v, err := strconv.ParseFloat(r.s[r.at:end], 64)
	if err != nil {
		return 0, false
	}
	r.at = end
	r.blank()
	return v, true
}
