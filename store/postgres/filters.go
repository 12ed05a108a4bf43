//go:build !row_security_alone

package postgres

// OwnFilters tells that statements name the owner whose rows they want, beside
// row-level security that holds them to it. Tests build with the tag
// row_security_alone to see that the second holds by itself.
const OwnFilters = true
