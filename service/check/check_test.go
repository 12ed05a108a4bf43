package check

import (
	"fmt"
	"io"
	"math"
	"testing"
)

// said is a test that keeps what is reported to it.
type said struct {
	testing.TB
	text string
}

func (s *said) Helper()                   {}
func (s *said) Errorf(f string, a ...any) { s.text += fmt.Sprintf(f, a...) }

func TestWhatIsSaid(t *testing.T) {
	for name, c := range map[string]struct {
		run  func(t testing.TB) bool
		want string
	}{
		"equal":        {func(t testing.TB) bool { return Equal(t, "sheets", 2, 2) }, ""},
		"not equal":    {func(t testing.TB) bool { return Equal(t, "sheets", 2, 3) }, "sheets: got 2, want 3"},
		"near":         {func(t testing.TB) bool { return Near(t, "mass", 1.05, 1, 0.1) }, ""},
		"not near":     {func(t testing.TB) bool { return Near(t, "mass", 1.5, 1, 0.1) }, "mass: got 1.5, want 1 within 0.1"},
		"no number":    {func(t testing.TB) bool { return Near(t, "mass", math.NaN(), 1, 0.1) }, "mass: got NaN, want 1 within 0.1"},
		"wrapped":      {func(t testing.TB) bool { return Fails(t, "read", fmt.Errorf("at 3: %w", io.EOF), io.EOF) }, ""},
		"no error":     {func(t testing.TB) bool { return Fails(t, "read", nil, io.EOF) }, "read: got error <nil>, want EOF"},
		"none wanted":  {func(t testing.TB) bool { return Fails(t, "read", io.EOF, nil) }, "read: got error EOF, want <nil>"},
		"none, wanted": {func(t testing.TB) bool { return Fails(t, "read", nil, nil) }, ""},
	} {
		t.Run(name, func(t *testing.T) {
			s := &said{}
			held := c.run(s)
			if s.text != c.want || held != (c.want == "") {
				t.Errorf("held %v and said %q, want %q", held, s.text, c.want)
			}
		})
	}
}
