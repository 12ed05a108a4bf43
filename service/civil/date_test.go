package civil

import (
	"testing"
	"time"

	"hatchwright/service/check"
)

func date(t *testing.T, text string) Date {
	t.Helper()
	d, err := ParseDate(text)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestAt(t *testing.T) {
	ny, err := time.LoadLocation("America/New_York")
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		date string
		wall time.Duration
		want string
	}{
		"skipped in spring: the change": {"2026-03-08", 2*time.Hour + 30*time.Minute, "2026-03-08T07:00:00Z"},
		"after the change":              {"2026-03-08", 3 * time.Hour, "2026-03-08T07:00:00Z"},
		"before the change":             {"2026-03-08", time.Hour + 59*time.Minute, "2026-03-08T06:59:00Z"},
		"twice in autumn: the first":    {"2026-11-01", time.Hour + 30*time.Minute, "2026-11-01T05:30:00Z"},
		"after both":                    {"2026-11-01", 2 * time.Hour, "2026-11-01T07:00:00Z"},
		"past midnight into the change": {"2026-10-31", 30 * time.Hour, "2026-11-01T11:00:00Z"},
	} {
		t.Run(name, func(t *testing.T) {
			check.Equal(t, "instant", date(t, c.date).At(c.wall, ny).UTC().Format(time.RFC3339), c.want)
		})
	}
}

func TestText(t *testing.T) {
	d := date(t, "2026-02-28")
	b, err := d.MarshalText()
	check.Fails(t, "write", err, nil)
	check.Equal(t, "text", string(b), "2026-02-28")
	var back Date
	check.Fails(t, "read", back.UnmarshalText(b), nil)
	check.Equal(t, "read again", back, d)
	for _, text := range []string{"", "2026-02-30", "28.02.2026", "2026-2-1", "2026-02-28T00:00:00Z"} {
		t.Run(text, func(t *testing.T) {
			if err := back.UnmarshalText([]byte(text)); err == nil {
				t.Errorf("%q is read as %v", text, back)
			}
		})
	}
}

func TestArithmetic(t *testing.T) {
	d := date(t, "2026-02-28")
	check.Equal(t, "the day after", d.AddDays(1), date(t, "2026-03-01"))
	check.Equal(t, "59 days before", d.AddDays(-59), date(t, "2025-12-31"))
	check.Equal(t, "weekday", d.Weekday(), time.Saturday)
	check.Equal(t, "compared with the day after", d.Compare(d.AddDays(1)), -1)
	check.Equal(t, "compared with itself", d.Compare(date(t, "2026-02-28")), 0)
	check.Equal(t, "compared with the day before", d.AddDays(1).Compare(d), 1)
	check.Equal(t, "valid", d.Valid(), true)
	check.Equal(t, "30 February is valid", Date{Year: 2026, Month: 2, Day: 30}.Valid(), false)
	check.Equal(t, "ordinal of the first day", Date{Year: 1970, Month: 1, Day: 1}.Ordinal(), 0)
}
