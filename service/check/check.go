package check

import (
	"errors"
	"math"
	"testing"
)

// Equal holds got to want.
func Equal[T comparable](t testing.TB, what string, got, want T) bool {
	t.Helper()
	if got != want {
		t.Errorf("%s: got %v, want %v", what, got, want)
		return false
	}
	return true
}

// Near holds got to want within tolerance, in the unit of both.
func Near(t testing.TB, what string, got, want, tolerance float64) bool {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: got %.9g, want %.9g within %g", what, got, want, tolerance)
		return false
	}
	return true
}

// Fails holds err to be want, or to wrap it; a want of nil is no error.
func Fails(t testing.TB, what string, err, want error) bool {
	t.Helper()
	if !errors.Is(err, want) {
		t.Errorf("%s: got error %v, want %v", what, err, want)
		return false
	}
	return true
}
