package store

// Page asks for one page of a list. Lists run from the newest record to the
// oldest, by (creation time, id), unless a method says otherwise.
//
// A list read page by page holds every record that was there at the first page
// and still is, each once, whatever is written meanwhile; records written
// meanwhile with a later creation time are not in it.
type Page struct {
	Limit  int    // 1 to MaxLimit; 0 stands for DefaultLimit; others are brought into range
	Cursor string // Listing.NextCursor of the page before; "" for the first page
}

// Limits of a page.
const (
	DefaultLimit = 50
	MaxLimit     = 200
)

// Size is the number of records the page holds at most.
func (p Page) Size() int {
	switch {
	case p.Limit == 0:
		return DefaultLimit
	case p.Limit < 1:
		return 1
	case p.Limit > MaxLimit:
		return MaxLimit
	default:
		return p.Limit
	}
}

// Listing is one page of a list.
type Listing[T any] struct {
	Items      []T
	NextCursor string // "" on the last page
}
