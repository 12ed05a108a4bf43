package api

import (
	"fmt"
	"net/http"
	"strconv"

	"hatchwright/service"
	"hatchwright/service/record"
)

// Render implements service.Wire: it makes of what a use case made for a caller the
// answer to send and to keep. What is in its first version was created by it.
func (Wire) Render(to service.Caller, made any) (record.Answer, error) {
	switch m := made.(type) {
	case service.IssuedKey:
		shown := toIssuedKey(&m)
		bare := shown
		bare.Key, bare.Withheld = "", text(to.Withholds())
		return showing(shown, bare)
	case service.IssuedSecret:
		bare := wireIssuedWebhook{Withheld: text(to.Withholds()), wireWebhook: toWebhook(&m.Webhook)}
		return showing(wireIssuedWebhook{Secret: text(m.Text), wireWebhook: bare.wireWebhook}, bare)
	case record.Dealer:
		return rendered(http.StatusCreated, toDealer(&m))
	case record.Configuration:
		return created("/v1/configurations/"+m.ID.String(), toStoredConfiguration(&m))
	case record.Delivery:
		return rendered(http.StatusAccepted, toDelivery(&m))
	case service.StockMoved:
		return rendered(http.StatusCreated, toStockMoved(&m))
	case record.Mold:
		return versioned(m.Version, m.Version == 1, "/v1/molds/"+m.ID.String(), toRegisteredMold(&m, to))
	case record.Quote:
		return versioned(m.Version, m.Version == 1, "/v1/quotes/"+m.ID.String(), toQuote(&m))
	case service.OrderDetail:
		return versioned(m.Order.Version, true, "/v1/orders/"+m.Order.ID.String(), toOrder(&m))
	case record.Order:
		return versioned(m.Version, false, "", toOrderSummary(&m))
	case record.ShopDocument: // it is in use once it is put
		return versioned(m.Version, m.Kind == record.DocumentPriceBook, "/v1/shop/price-books/"+strconv.Itoa(m.Version), toDocumentVersion(&m, m.Version))
	}
	return record.Answer{}, fmt.Errorf("api: no answer is written for a %T", made)
}

// rendered is an answer with a body alone.
func rendered(status int, v any) (record.Answer, error) {
	body, err := encode(v)
	return record.Answer{Status: status, Body: body}, err
}

// created is the answer that tells where what was made is.
func created(location string, v any) (record.Answer, error) {
	a, err := rendered(http.StatusCreated, v)
	a.Header = http.Header{"Location": {location}}
	return a, err
}

// versioned is the answer to a change, with the version that it made; where that
// created the thing, with its location too.
func versioned(version int, isNew bool, location string, v any) (record.Answer, error) {
	if isNew {
		a, err := created(location, v)
		a.Header.Set("Etag", versionTag(version))
		return a, err
	}
	a, err := rendered(http.StatusOK, v)
	a.Header = http.Header{"Etag": {versionTag(version)}}
	return a, err
}

// showing is the answer that shows a secret, this once, and what a repeat gets that it
// cannot be opened for: another status, and why in the secret's place.
func showing(shown, withheld any) (record.Answer, error) {
	whole, err := rendered(http.StatusCreated, shown)
	if err != nil {
		return whole, err
	}
	bare, err := rendered(http.StatusOK, withheld)
	whole.Bare = &bare
	return whole, err
}
