package openapi

import (
	"errors"
	"strings"
	"testing"
	"time"
)

// TestParseTime: the good ones are the examples of RFC 3339, section 5.8, but those with
// leap seconds, and the ends of the years that are taken.
func TestParseTime(t *testing.T) {
	for text, want := range map[string]time.Time{
		"1985-04-12T23:20:50.52Z":             time.Date(1985, 4, 12, 23, 20, 50, 520_000_000, time.UTC),
		"1996-12-19T16:39:57-08:00":           time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC),
		"1970-01-01T00:00:00Z":                time.Unix(0, 0),
		"2199-12-31T23:59:59.999999999Z":      time.Date(2199, 12, 31, 23, 59, 59, 999_999_999, time.UTC),
		"2028-02-29T00:00:00+05:30":           time.Date(2028, 2, 28, 18, 30, 0, 0, time.UTC),
		"2027-03-15T08:00:00-00:00":           time.Date(2027, 3, 15, 8, 0, 0, 0, time.UTC),
		"2027-03-15T08:00:00.000000001+23:59": time.Date(2027, 3, 14, 8, 1, 0, 1, time.UTC),
	} {
		t.Run(text, func(t *testing.T) {
			got, err := ParseTime(text)
			if err != nil {
				t.Fatal(err)
			}
			if !got.Equal(want) {
				t.Errorf("got %v, want %v", got, want)
			}
		})
	}
	for text, want := range map[string]string{
		"":                                "with its offset",
		"1990-12-31T23:59:60Z":            "leap seconds",
		"1990-12-31T15:59:60-08:00":       "leap seconds",
		"2027-03-15T24:00:00Z":            "23:59:59",
		"2027-03-15T08:60:00Z":            "23:59:59",
		"2027-02-29T08:00:00Z":            "February 2027 has the days 01 to 28",
		"2027-02-30T08:00:00Z":            "February 2027 has the days 01 to 28",
		"2028-02-30T08:00:00Z":            "February 2028 has the days 01 to 29",
		"2100-02-29T08:00:00Z":            "February 2100 has the days 01 to 28",
		"2027-04-31T08:00:00Z":            "April 2027 has the days 01 to 30",
		"2027-03-00T08:00:00Z":            "March 2027 has the days 01 to 31",
		"2027-13-15T08:00:00Z":            "no month 13",
		"2027-00-15T08:00:00Z":            "no month 00",
		"2027-03-15T08:00:00":             "offset is missing",
		"2027-03-15T08:00:00 05:00":       "%2B",
		"2027-03-15T08:00:00+0500":        "hours and minutes",
		"2027-03-15T08:00:00+24:00":       "hours and minutes",
		"2027-03-15T08:00:00+05:60":       "hours and minutes",
		"2027-03-15T08:00:00z":            "with its offset",
		"2027-03-15t08:00:00Z":            "with its offset",
		"2027-03-15 08:00:00Z":            "with its offset",
		"2027-03-15":                      "date alone",
		"2027-03-15T08:00:00,5Z":          "with its offset",
		"2027-03-15T08:00:00.Z":           "with its offset",
		"2027-03-15T08:00:00.1234567890Z": "nine decimals",
		"2027-03-15T08:00:00ZZ":           "with its offset",
		"\uff12027-03-15T08:00:00Z":       "with its offset",
		"0001-01-01T00:00:00Z":            "from 1970 to 2199",
		"1969-12-31T23:59:59Z":            "from 1970 to 2199",
		"1970-01-01T00:00:00+00:01":       "from 1970 to 2199",
		"2199-12-31T23:59:59-00:01":       "from 1970 to 2199",
		"9999-12-31T23:59:59Z":            "from 1970 to 2199",
	} {
		t.Run(text, func(t *testing.T) {
			got, err := ParseTime(text)
			var e *TimeError
			if !errors.As(err, &e) {
				t.Fatalf("got %v, %v, want a *TimeError", got, err)
			}
			if !strings.Contains(e.Message, want) {
				t.Errorf("got %q, want something with %q", e.Message, want)
			}
		})
	}
}

// TestParseDate walks every day of the years that are taken, and a day to either side,
// by the calendar of the standard library.
func TestParseDate(t *testing.T) {
	for day := time.Date(FirstYear, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() <= LastYear; day = day.AddDate(0, 0, 1) {
		text := day.Format(time.DateOnly)
		got, err := ParseDate(text)
		if err != nil || !got.Equal(day) {
			t.Fatalf("%s: got %v, %v", text, got, err)
		}
		if day.Day() > 27 { // the numbers behind the last day of the month are none
			for n := day.Day() + 1; n < 40 && day.AddDate(0, 0, 1).Month() != day.Month(); n++ {
				text := day.Format("2006-01-") + string(rune('0'+n/10)) + string(rune('0'+n%10))
				if got, err := ParseDate(text); err == nil {
					t.Fatalf("%s: got %v, want an error", text, got)
				}
			}
		}
	}
	for _, text := range []string{"", "1969-12-31", "2200-01-01", "0000-01-01", "2027-3-5", "20270305", "2027-03-05 ", " 2027-03-05", "2027-03-05Z", "2027-W01-1", "03/05/2027", "-027-03-05", "+027-03-05"} {
		t.Run(text, func(t *testing.T) {
			if got, err := ParseDate(text); err == nil {
				t.Errorf("got %v, want an error", got)
			}
		})
	}
}

// FuzzParseTime: what is taken is taken by the standard library for the same instant,
// and is written back the same.
func FuzzParseTime(f *testing.F) {
	f.Add("2027-03-15T08:00:00-04:00")
	f.Add("2027-03-15T23:59:60.5Z")
	f.Add("2027-03-15")
	f.Fuzz(func(t *testing.T, text string) {
		if got, err := ParseTime(text); err == nil {
			want, err := time.Parse(time.RFC3339Nano, text)
			if err != nil || !got.Equal(want) {
				t.Errorf("%q: got %v, the standard library %v, %v", text, got, want, err)
			}
		}
		if got, err := ParseDate(text); err == nil && got.Format(time.DateOnly) != text {
			t.Errorf("%q: got %v", text, got)
		}
	})
}
