package nest

import (
	"errors"
	"fmt"
)

// ErrInput is wrapped by every error about what was given.
var ErrInput = errors.New("nest: bad input")

// SizeError reports a number that no layout can be made from.
type SizeError struct {
	What  string  // "panel", "sheet", "rules" or "roll"
	Name  string  // of the panel or sheet
	Field string  // "length", "width", "quantity", "kerf", "trim", ...
	Value float64 // as given
	Want  string  // what would be accepted
}

func (e *SizeError) Error() string {
	if e.Name == "" {
		return fmt.Sprintf("nest: %s: %s is %v, want %s", e.What, e.Field, e.Value, e.Want)
	}
	return fmt.Sprintf("nest: %s %q: %s is %v, want %s", e.What, e.Name, e.Field, e.Value, e.Want)
}

// Unwrap makes the error an ErrInput.
func (e *SizeError) Unwrap() error { return ErrInput }

// TooLargeError reports a panel that fits on no sheet of the stock.
type TooLargeError struct {
	Panel         string
	Length, Width float64 // mm, of the panel
	Turn          bool    // whether it could be turned
	Sheet         string  // the sheet with the largest usable area
	FitsLength    float64 // mm, the largest panel that sheet takes after trim
	FitsWidth     float64 // mm
}

func (e *TooLargeError) Error() string {
	turned := "as it lies"
	if e.Turn {
		turned = "either way round"
	}
	return fmt.Sprintf("nest: panel %q of %g x %g mm fits on no sheet %s; the largest panel that fits is %g x %g mm on sheet %q: split the panel, stock a larger sheet or trim less",
		e.Panel, e.Length, e.Width, turned, e.FitsLength, e.FitsWidth, e.Sheet)
}

// Unwrap makes the error an ErrInput.
func (e *TooLargeError) Unwrap() error { return ErrInput }

// TooManyError reports more panels than MaxPieces.
type TooManyError struct{ Count, Most int }

func (e *TooManyError) Error() string {
	return fmt.Sprintf("nest: %d panels, at most %d in one plan: nest them in batches", e.Count, e.Most)
}

// Unwrap makes the error an ErrInput.
func (e *TooManyError) Unwrap() error { return ErrInput }
