package record

import (
	"encoding/json"
	"strings"
	"time"

	"github.com/google/uuid"
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
	Author    string // who wrote it: Doer.Author, or "built-in"
}

// Author is a doer as the shop's documents name it: the key's id, or issuer and
// subject of a person with a space between, as no URL has one.
func (d Doer) Author() string {
	if d.Subject != "" {
		return d.Issuer + " " + d.Subject
	}
	if d.KeyID == nil {
		return ""
	}
	return d.KeyID.String()
}

// By is who wrote the document, read back from Author; false for what came with the
// service. Only the shop writes documents.
func (d ShopDocument) By() (Doer, bool) {
	if id, err := uuid.Parse(d.Author); err == nil {
		return Doer{KeyID: &id, Role: RoleShop}, true
	}
	issuer, subject, person := strings.Cut(d.Author, " ")
	if !person {
		return Doer{}, false
	}
	return Doer{Issuer: issuer, Subject: subject, Role: RoleShop}, true
}
