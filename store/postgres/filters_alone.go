//go:build row_security_alone

package postgres

// OwnFilters is off: row-level security alone keeps a dealer's rows from others.
const OwnFilters = false
