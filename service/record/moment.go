package record

import "time"

// Moment is t as every record keeps it: UTC, cut to the millisecond, without a
// monotonic reading. Two moments that print alike compare alike with ==.
func Moment(t time.Time) time.Time { return t.Round(0).UTC().Truncate(time.Millisecond) }
