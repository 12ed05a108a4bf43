package shop

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
)

// Rule says what one place of a document may hold. Which of the fields count follows
// from what stands there: a figure or a decimal written as a text keeps to Least and
// Most; of a list or a map they count the rows, of a text the characters.
type Rule struct {
	Least, Most float64
	Above       bool // Least itself is outside
	Below       bool // Most itself is outside
	// OrZero takes 0 too, which stands for what is left out.
	OrZero bool
	Unit   string
	Words  []string // the words that are taken; nil: any
	Form   string   // a pattern that the text keeps to; "": any
	// Why says where the ends come from.
	Why string
}

// String writes the range, "0.5 to 30 kg/h".
func (r Rule) String() string {
	least, most := strconv.FormatFloat(r.Least, 'f', -1, 64), strconv.FormatFloat(r.Most, 'f', -1, 64)
	text := least + " to " + most
	switch {
	case r.Above && r.Below:
		text = "more than " + least + " and less than " + most
	case r.Below:
		text = least + " to under " + most
	case r.Above:
		text = "more than " + least + ", at most " + most
	case r.Least == r.Most:
		text = least
	}
	if r.OrZero && r.Least > 0 {
		text = "0, or " + text
	}
	return strings.TrimSpace(text + " " + r.Unit)
}

// holds reports whether a figure, or a number of rows or characters, is within.
func (r Rule) holds(x float64) bool {
	if r.OrZero && x == 0 {
		return true
	}
	return (x > r.Least || x == r.Least && !r.Above) && (x < r.Most || x == r.Most && !r.Below)
}

// figure is a rule for a number.
func figure(least, most float64, unit, why string) Rule {
	return Rule{Least: least, Most: most, Unit: unit, Why: why}
}

// orZero is figure for one where 0 stands for what is left out.
func orZero(least, most float64, unit, why string) Rule {
	r := figure(least, most, unit, why)
	r.OrZero = true
	return r
}

// rows is a rule for how many a list or a map has.
func rows(least, most float64, why string) Rule {
	return Rule{Least: least, Most: most, Why: why}
}

// text is a rule for a text of so many characters.
func text(least, most float64) Rule {
	return Rule{Least: least, Most: most, Why: "a line or two to read"}
}

func words(list ...string) Rule { return Rule{Words: list} }

func form(pattern string) Rule { return Rule{Form: pattern} }

// The forms of texts, as the contract's document has them.
const (
	formCurrency = `^[A-Z]{3}$`
	formDecimal  = `^[0-9]{1,12}(\.[0-9]{1,6})?$`
	formClock    = `^([01][0-9]|2[0-3]):[0-5][0-9]$`
	formDate     = `^[0-9]{4}-[0-9]{2}-[0-9]{2}$`
)

// forms are the patterns, made ready, and what they ask for in words.
var forms = map[string]struct {
	pattern *regexp.Regexp
	words   string
}{
	formCurrency: {regexp.MustCompile(formCurrency), "a currency of ISO 4217 in three capital letters, like USD"},
	formDecimal:  {regexp.MustCompile(formDecimal), `a decimal of up to 12 digits and 6 places as a text, like "128.40"`},
	formClock:    {regexp.MustCompile(formClock), "a time of day from 00:00 to 23:59, like 07:30"},
	formDate:     {regexp.MustCompile(formDate), "a date, like 2027-03-15"},
}

// exact is a rule for a decimal written as a text.
func exact(least, most float64, unit, why string) Rule {
	r := figure(least, most, unit, why)
	r.Form = formDecimal
	return r
}

// RuleAt returns the rule of a place: the name of the type and the field's key, then
// "/*" for each list or map that it is a row of.
func RuleAt(place string) (Rule, bool) {
	r, ok := rules[place]
	return r, ok
}

// Places lists the places that have a rule, in no order.
func Places() []string {
	out := make([]string, 0, len(rules))
	for k := range rules {
		out = append(out, k)
	}
	return out
}

// quoted lists words for a sentence.
func quoted(list []string) string {
	out := make([]string, len(list))
	for i, w := range list {
		out[i] = fmt.Sprintf("%q", w)
	}
	return strings.Join(out, ", ")
}
