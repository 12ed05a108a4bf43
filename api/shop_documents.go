package api

import (
	"net/http"

	"github.com/google/uuid"

	"hatchwright/service"
	"hatchwright/service/record"
)

// getProfile gives a version of the shop's profile.
func (a *api) getProfile(c *call) error {
	return a.getShopDocument(c, record.DocumentProfile, c.queryInt("version"))
}

// putProfile puts a new version of it.
func (a *api) putProfile(c *call) error { return a.putShopDocument(c, record.DocumentProfile) }

// listProfiles lists its versions.
func (a *api) listProfiles(c *call) error { return a.listShopDocuments(c, record.DocumentProfile) }

// getMaterials gives a version of the catalog of materials.
func (a *api) getMaterials(c *call) error {
	return a.getShopDocument(c, record.DocumentMaterials, c.queryInt("version"))
}

// putMaterials puts a new version of it.
func (a *api) putMaterials(c *call) error { return a.putShopDocument(c, record.DocumentMaterials) }

// listMaterials lists its versions.
func (a *api) listMaterials(c *call) error { return a.listShopDocuments(c, record.DocumentMaterials) }

// getPriceBook gives a price book.
func (a *api) getPriceBook(c *call) error {
	version, _ := parameter[int](c, "version")
	return a.getShopDocument(c, record.DocumentPriceBook, version)
}

// listPriceBooks lists price books.
func (a *api) listPriceBooks(c *call) error { return a.listShopDocuments(c, record.DocumentPriceBook) }

// addPriceBook adds a price book: the next version, whatever was there.
func (a *api) addPriceBook(c *call) error {
	n := service.NewShopDocument{Kind: record.DocumentPriceBook, Body: c.body}
	made, err := a.service.PutShopDocument(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

func (a *api) putShopDocument(c *call, kind string) error {
	match, err := c.match(true)
	if err != nil {
		return err
	}
	n := service.NewShopDocument{Kind: kind, Body: c.body, Match: match}
	made, err := a.service.PutShopDocument(c.Request().Context(), c.caller, n, nil)
	return c.give(made.Answer, err)
}

// getShopDocument gives a document byte for byte as it was put; version 0 is the
// newest.
func (a *api) getShopDocument(c *call, kind string, number int) error {
	d, err := a.service.GetShopDocument(c.Request().Context(), c.caller, kind, number)
	if err != nil {
		return err
	}
	tag := versionTag(d.Version)
	c.Response().Header().Set("ETag", tag)
	c.Response().Header().Set("Cache-Control", "private, no-cache")
	if matches(c.Request().Header.Values("If-None-Match"), tag) {
		return c.NoContent(http.StatusNotModified)
	}
	return c.Blob(http.StatusOK, jsonType, d.Body)
}

func (a *api) listShopDocuments(c *call, kind string) error {
	l, err := a.service.ListShopDocuments(c.Request().Context(), c.caller, kind, c.page())
	if err != nil {
		return err
	}
	used := a.service.InUse(kind)
	return sendList(c, l, func(d *record.ShopDocument) wireDocumentVersion { return toDocumentVersion(d, used) })
}

// wireDocumentVersion is which version it is, whether the service works with it, and who
// put it there; nobody for one that came with the service.
type wireDocumentVersion struct {
	Version   int         `json:"version"`
	InUse     bool        `json:"in_use"`
	ChangedAt moment      `json:"changed_at"`
	ChangedBy *wireAuthor `json:"changed_by"`
}

type wireAuthor struct {
	KeyID   *uuid.UUID `json:"key_id"`
	Issuer  optional   `json:"issuer"`
	Subject optional   `json:"subject"`
}

// toDocumentVersion takes the version that is in use.
func toDocumentVersion(d *record.ShopDocument, used int) wireDocumentVersion {
	out := wireDocumentVersion{d.Version, d.Version == used, moment(d.CreatedAt), nil}
	if by, ok := d.By(); ok {
		out.ChangedBy = &wireAuthor{by.KeyID, optional(by.Issuer), optional(by.Subject)}
	}
	return out
}
