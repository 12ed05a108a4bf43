package record

import (
	"encoding/json"
	"time"
)

// Kinds of shop document that the service itself reads. A store takes any kind.
const (
	DocumentProfile   = "profile"    // machines, habits and defaults of the shop
	DocumentMaterials = "materials"  // materials with their properties and packs
	DocumentPriceBook = "price_book" // prices, rates and margins
)

// ShopDocument is one version of one of the shop's own documents. Versions of a
// kind count 1, 2, 3 ... without a gap; a version never changes.
type ShopDocument struct {
	Kind      string
	Version   int
	Body      json.RawMessage
	CreatedAt time.Time
	Author    string // who wrote it: a key's id, or "built-in"
}
