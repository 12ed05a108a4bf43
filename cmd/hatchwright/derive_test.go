package main

import (
	"bytes"
	"context"
	"errors"
	"strings"
	"testing"
)

// TestDeriveRefusals: what the command says of files that it cannot use.
func TestDeriveRefusals(t *testing.T) {
	for _, c := range []struct {
		name, in string
		args     []string
		code     int
		says     string
	}{
		{"no file", "", []string{"derive"}, exitUsage, "usage"},
		{"missing file", "", []string{"derive", "no-such-file.json"}, exitFailure, "no-such-file.json"},
		{"bad start", "", []string{"derive", "-start", "monday", "-"}, exitUsage, "monday"},
		{"not JSON", "{", []string{"derive", "-"}, exitFailure, "malformed-body"},
		{"unknown field", `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":300},"colour":"red"}`, []string{"derive", "-"}, exitFailure, "colour"},
		{"too large", strings.Repeat(" ", largestFile+1), []string{"derive", "-"}, exitFailure, "1 MiB"},
		{"no such command", "", []string{"sail"}, exitUsage, "sail"},
	} {
		var out, errs bytes.Buffer
		code := run(context.Background(), streams{strings.NewReader(c.in), &out, &errs, nil}, c.args)
		if code != c.code || !strings.Contains(errs.String(), c.says) || out.Len() > 0 {
			t.Errorf("%s: exit %d, said %q, printed %q", c.name, code, errs.String(), out.String())
		}
	}
}

// fullDisk takes nothing.
type fullDisk struct{}

func (fullDisk) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

// TestDeriveSaysWhenItsAnswerIsLost: an answer that went nowhere is no success.
func TestDeriveSaysWhenItsAnswerIsLost(t *testing.T) {
	for _, request := range []string{
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":500}}`,
		`{"units":"mm","pattern":"flush-ledge","outline":{"shape":"circle","diameter":50000}}`,
	} {
		var errs bytes.Buffer
		if code := run(context.Background(), streams{strings.NewReader(request), fullDisk{}, &errs, nil}, []string{"derive", "-"}); code != exitFailure || !strings.Contains(errs.String(), "no space left") {
			t.Errorf("exit %d, %q", code, errs.String())
		}
	}
}
