package api

import (
	"fmt"
	"net/http"
	"strconv"

	"hatchwright/service"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
)

// Render implements service.Wire: it makes of what a use case made for a caller the
// answer to send and to keep. What is in its first version was created by it.
func (Wire) Render(to service.Caller, made any) (record.Answer, error) {
	switch m := made.(type) {
	case service.IssuedKey:
		return showing(to, "key", m.Text, func(w *writer) { w.issuedKey(&m) })
	case service.IssuedSecret:
		return showing(to, "secret", m.Text, func(w *writer) { w.webhookFigures(&m.Webhook) })
	case record.Dealer:
		return rendered(http.StatusCreated, func(w *writer) { w.dealer(&m) })
	case record.Configuration:
		return created("/v1/configurations/"+m.ID.String(), func(w *writer) { w.stored(&m, m.Completed) })
	case record.Delivery:
		return rendered(http.StatusAccepted, func(w *writer) { w.delivery(&m) })
	case service.StockMoved:
		return rendered(http.StatusCreated, func(w *writer) { w.stockMoved(&m) })
	case record.Mold:
		return versioned(m.Version, m.Version == 1, "/v1/molds/"+m.ID.String(), func(w *writer) { w.registeredMold(&m, to) })
	case record.Quote:
		return versioned(m.Version, m.Version == 1, "/v1/quotes/"+m.ID.String(), func(w *writer) { w.quote(&m) })
	case service.OrderDetail:
		return versioned(m.Order.Version, true, "/v1/orders/"+m.Order.ID.String(), func(w *writer) { w.order(&m) })
	case record.Order:
		return versioned(m.Version, false, "", func(w *writer) { w.orderSummary(&m) })
	case record.ShopDocument: // it is in use once it is put
		return versioned(m.Version, m.Kind == record.DocumentPriceBook, "/v1/shop/price-books/"+strconv.Itoa(m.Version), func(w *writer) { w.documentVersion(&m, m.Version) })
	}
	return record.Answer{}, fmt.Errorf("api: no answer is written for a %T", made)
}

// rendered is an answer with a body alone.
func rendered(status int, write func(*writer)) (record.Answer, error) {
	w := newWriter(quantity.Metric)
	defer w.free()
	write(w)
	body, err := w.copy()
	return record.Answer{Status: status, Body: body}, err
}

// created is the answer that tells where what was made is.
func created(location string, write func(*writer)) (record.Answer, error) {
	a, err := rendered(http.StatusCreated, write)
	a.Header = http.Header{"Location": {location}}
	return a, err
}

// versioned is the answer to a change, with the version that it made; where that
// created the thing, with its location too.
func versioned(version int, isNew bool, location string, write func(*writer)) (record.Answer, error) {
	if isNew {
		a, err := created(location, write)
		a.Header.Set("Etag", versionTag(version))
		return a, err
	}
	a, err := rendered(http.StatusOK, write)
	a.Header = http.Header{"Etag": {versionTag(version)}}
	return a, err
}

// showing is the answer that shows a secret, this once, under a name, and what a repeat
// gets that it cannot be opened for: another status, and why in its place.
func showing(to service.Caller, name, secret string, rest func(*writer)) (record.Answer, error) {
	object := func(name, text string) func(*writer) {
		return func(w *writer) {
			w.object("")
			w.text(name, text)
			rest(w)
			w.end()
		}
	}
	whole, err := rendered(http.StatusCreated, object(name, secret))
	if err != nil {
		return whole, err
	}
	bare, err := rendered(http.StatusOK, object("withheld", string(to.Withholds())))
	whole.Bare = &bare
	return whole, err
}
