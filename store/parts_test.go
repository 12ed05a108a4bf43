package store

import (
	"bytes"
	"testing"
)

// What is taken apart comes together again byte for byte, whatever it is; the lead time is
// a part of its own where it is the outermost object's.
func TestParts(t *testing.T) {
	for _, c := range []struct {
		name, text string
		parts      int
		middle     string
	}{
		{"nothing", "", 1, ""},
		{"no object", `"\x00 E'`, 1, ""},
		{"without", `{"a":1}`, 1, ""},
		{"in the middle", `{"a":[1,{"x":"}"}],"lead_time":{"p50":"\"}{","l":[{}]},"z":1}`, 3, `{"p50":"\"}{","l":[{}]}`},
		{"at the end", `{"a":1,"lead_time":{}}`, 3, `{}`},
		{"further in", `{"a":{"lead_time":{"x":1}}}`, 1, ""},
		{"in a text", `{"a":"\"lead_time\":{}"}`, 1, ""},
		{"cut off", `{"lead_time":{"x"`, 1, ""},
		{"null", `{"lead_time":null}`, 1, ""},
		{"more closed than opened", `}}]{"lead_time":{}`, 1, ""},
	} {
		t.Run(c.name, func(t *testing.T) { holds(t, []byte(c.text), c.parts, c.middle) })
	}
}

func FuzzParts(f *testing.F) {
	f.Add([]byte(`{"a":[1,{"x":"}"}],"lead_time":{"p50":"\"}{","l":[{}]},"z":1}`))
	f.Fuzz(func(t *testing.T, text []byte) { holds(t, text, 0, "") })
}

func holds(t *testing.T, text []byte, count int, middle string) {
	t.Helper()
	parts, err := Parts(text)
	if err != nil {
		t.Fatal(err)
	}
	if count > 0 && len(parts) != count {
		t.Fatalf("%d parts, want %d", len(parts), count)
	}
	var bodies [][]byte
	for _, p := range parts {
		bodies = append(bodies, p.Body)
	}
	got, err := Whole(bodies)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, text) {
		t.Errorf("together %q, want %q", got, text)
	}
	if count == 3 {
		if got, err := Whole(bodies[1:2]); err != nil || string(got) != middle {
			t.Errorf("lead time %q (%v), want %q", got, err, middle)
		}
	}
}
