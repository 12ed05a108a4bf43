package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var update = flag.Bool("update", false, "write the scenarios' answers anew")

const scenarios = "../../testdata/scenarios"

// scenarioStart is Monday 2027-02-01, 07:00 in the example shop's time zone.
const scenarioStart = "2027-02-01T07:00:00-05:00"

// TestScenarios derives each request of testdata/scenarios with the command and
// compares what it prints with the reviewed answer, byte for byte.
func TestScenarios(t *testing.T) {
	requests, err := filepath.Glob(filepath.Join(scenarios, "*.request.json"))
	if err != nil || len(requests) < 15 {
		t.Fatalf("%d scenarios, %v: at least 15 are kept", len(requests), err)
	}
	for _, request := range requests {
		name := strings.TrimSuffix(filepath.Base(request), ".request.json")
		t.Run(name, func(t *testing.T) {
			var out, errs bytes.Buffer
			code := run(context.Background(), streams{strings.NewReader(""), &out, &errs, nil}, []string{"derive", "-start", scenarioStart, request})
			if code != exitOK && code != exitNotMakeable {
				t.Fatalf("exit %d: %s", code, errs.String())
			}
			if makeable := strings.Contains(out.String(), `"cautions":[`); makeable != (code == exitOK) {
				t.Fatalf("exit %d, and the answer says otherwise", code)
			}
			golden := filepath.Join(scenarios, name+".answer.json")
			if *update {
				if err := os.WriteFile(golden, out.Bytes(), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			want, err := os.ReadFile(golden)
			if err != nil {
				t.Fatal(err)
			}
			if !bytes.Equal(out.Bytes(), want) {
				at := 0
				for at < len(want) && at < out.Len() && want[at] == out.Bytes()[at] {
					at++
				}
				show := func(b []byte) string { return string(b[max(0, min(at-60, len(b))):min(len(b), at+60)]) }
				t.Errorf("differs from the reviewed answer at byte %d:\n now  …%s…\n kept …%s…", at, show(out.Bytes()), show(want))
			}
		})
	}
}

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
