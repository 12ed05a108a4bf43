package sqlite

import (
	"strconv"
	"time"

	"hatchwright/store/table"
)

// dialect is SQLite's: arguments by number, times as Unix milliseconds.
var dialect = &table.Dialect{
	Mark:   func(n int) string { return "?" + strconv.Itoa(n) },
	Time:   func(t time.Time) any { return t.UnixMilli() },
	Owners: true,
}

// narrow begins a where clause behind the arguments given.
func narrow(before ...any) *table.Where { return dialect.Where(before...) }

// millis is a time as its column holds it.
func millis(t time.Time) int64 { return t.UnixMilli() }
