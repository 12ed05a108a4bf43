package finding

import (
	"fmt"
	"sort"

	"hatchwright/service/quantity"
)

// Severity says what a finding means for the verdict.
type Severity uint8

const (
	// Note tells something worth knowing; the verdict does not change.
	Note Severity = iota
	// Caution leaves the part makeable; someone should decide with open eyes.
	Caution
	// Error means the part cannot be made as asked.
	Error
)

// String returns the wire's word for the severity.
func (s Severity) String() string {
	switch s {
	case Error:
		return "error"
	case Caution:
		return "caution"
	default:
		return "note"
	}
}

// Mend is one change that makes the finding go away: put Value at Pointer and
// leave the rest. Word holds the value of a choice; it is empty for a number.
type Mend struct {
	Pointer string
	Value   quantity.Value
	Word    string
	// Toward says which way the number may be rounded and still mend.
	Toward quantity.Direction
	// Sought is true while the value is still to be solved for, going Toward from
	// the figure as it is. Whoever rules on the whole configuration solves it.
	Sought bool
}

// AtLeast is a mend that raises the number at pointer to v, rounded up.
func AtLeast(pointer string, v quantity.Value) Mend {
	return Mend{Pointer: pointer, Value: v, Toward: quantity.Up}
}

// AtMost is a mend that lowers the number at pointer to v, rounded down.
func AtMost(pointer string, v quantity.Value) Mend {
	return Mend{Pointer: pointer, Value: v, Toward: quantity.Down}
}

// Seek is a mend whose value is still to be solved for: the figure nearest to
// the present one, going up or down, that makes the finding go away.
func Seek(pointer string, going quantity.Direction) Mend {
	return Mend{Pointer: pointer, Toward: going, Sought: true}
}

// Choose is a mend that puts a word at pointer.
func Choose(pointer, word string) Mend { return Mend{Pointer: pointer, Word: word} }

// Finding is one rule's word on one configuration.
type Finding struct {
	Code     string
	Severity Severity
	Pointer  string
	Measured quantity.Value
	Limit    quantity.Value // same unit as Measured
	Mends    []Mend
	Source   string // where the limit is from

	format string
	args   []any
}

// Say sets the finding's sentence. Arguments of type quantity.Value are written
// in the reader's units; the verbs are fmt's, %v for values.
func (f Finding) Say(format string, args ...any) Finding {
	f.format, f.args = format, args
	return f
}

// Message puts the finding into words in the given system of units.
func (f Finding) Message(s quantity.System) string {
	args := make([]any, len(f.args))
	for i, a := range f.args {
		if v, ok := a.(quantity.Value); ok {
			args[i] = v.Text(s)
		} else {
			args[i] = a
		}
	}
	return fmt.Sprintf(f.format, args...)
}

// Verdict is the word on the whole configuration.
type Verdict string

const (
	// Makeable has no caution and no error.
	Makeable Verdict = "makeable"
	// MakeableWithCautions has a caution and no error.
	MakeableWithCautions Verdict = "makeable_with_cautions"
	// NotMakeable has an error.
	NotMakeable Verdict = "not_makeable"
)

// Judge returns the verdict that the findings lead to.
func Judge(list []Finding) Verdict {
	v := Makeable
	for _, f := range list {
		switch f.Severity {
		case Error:
			return NotMakeable
		case Caution:
			v = MakeableWithCautions
		case Note:
		}
	}
	return v
}

// Sort orders findings: errors first, then cautions, then notes; by code, then
// by pointer within each, so that the same configuration always reads the same.
func Sort(list []Finding) {
	sort.SliceStable(list, func(i, j int) bool {
		a, b := list[i], list[j]
		if a.Severity != b.Severity {
			return a.Severity > b.Severity
		}
		if a.Code != b.Code {
			return a.Code < b.Code
		}
		return a.Pointer < b.Pointer
	})
}

// Same reports whether two findings are the same rule's word on the same place.
func Same(a, b Finding) bool { return a.Code == b.Code && a.Pointer == b.Pointer }
