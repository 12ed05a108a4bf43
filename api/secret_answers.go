package api

import (
	"net/http"

	"hatchwright/service"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
)

// showing is the answer that shows a secret, this once, under a name, and what a repeat
// gets that it cannot be opened for: another status, and why in its place.
func showing(c service.Caller, name, secret string, rest func(*writer)) (record.Answer, error) {
	object := func(name, text string) ([]byte, error) {
		w := newWriter(quantity.Metric)
		defer w.free()
		w.object("")
		w.text(name, text)
		rest(w)
		w.end()
		return w.copy()
	}
	whole, err := object(name, secret)
	if err != nil {
		return record.Answer{}, err
	}
	bare, err := object("withheld", string(c.Withholds()))
	return record.Answer{Status: http.StatusCreated, Body: whole, Bare: &record.Answer{Status: http.StatusOK, Body: bare}}, err
}
