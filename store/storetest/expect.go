package storetest

import (
	"encoding/json"
	"errors"
	"reflect"
	"testing"
)

// expect fails the test unless err matches the sentinel; nil matches nil.
func expect(t *testing.T, what string, err, sentinel error) {
	t.Helper()
	if sentinel == nil {
		if err != nil {
			t.Errorf("%s: %v, want no error", what, err)
		}
		return
	}
	if !errors.Is(err, sentinel) {
		t.Errorf("%s: %v, want one that matches %q", what, err, sentinel)
	}
}

// same fails the test unless both values are deeply equal.
func same[T any](t *testing.T, what string, got, want T) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %s\nwant %s", what, show(got), show(want))
	}
}

func show(v any) string {
	if text, err := json.Marshal(v); err == nil {
		return string(text)
	}
	return "(not shown)"
}
