package api

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/fault"
	"hatchwright/service/money"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
)

// Plain records are answered as structs, each in the file of its resource, whose tags
// are the members that the document has, in the order in which they are written; a test
// holds them against it. Derivations, and what has findings in it, are written by
// writer.
//
// Texts are of type text or optional, figures of the types below: encoding/json would
// escape and round them another way than writer does.

// encode writes a record as JSON.
func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, fault.Wrap(fault.Internal, err, "Something went wrong that is not your doing.")
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// answer answers with a record.
func (c *call) answer(status int, v any) error { //nolint:unparam // what is answered is said where it is answered
	body, err := encode(v)
	if err != nil {
		return err
	}
	return c.Blob(status, jsonType, body)
}

// text is a text as it is.
type text string

func (t text) MarshalJSON() ([]byte, error) { return appendText(nil, string(t)), nil }

// optional is a text that is null where there is none.
type optional string

func (t optional) MarshalJSON() ([]byte, error) {
	if t == "" {
		return []byte("null"), nil
	}
	return text(t).MarshalJSON()
}

// moment is a time of a record, in UTC with its milliseconds.
type moment time.Time

func (m moment) MarshalJSON() ([]byte, error) {
	return time.Time(m).UTC().AppendFormat(nil, `"2006-01-02T15:04:05.000Z07:00"`), nil
}

// instant is a time to the second, in the location that it is in.
type instant time.Time

func (i instant) MarshalJSON() ([]byte, error) {
	return time.Time(i).AppendFormat(nil, `"`+time.RFC3339+`"`), nil
}

// hours are written to hourPlaces, a ratio to ratioPlaces.
type (
	hours float64
	ratio float64
)

func (h hours) MarshalJSON() ([]byte, error) { return rounded(float64(h), hourPlaces) }
func (r ratio) MarshalJSON() ([]byte, error) { return rounded(float64(r), ratioPlaces) }

// length is a length in mm that is told in a system of units.
type length struct {
	mm     float64
	system quantity.System
}

func (l length) MarshalJSON() ([]byte, error) {
	return rounded(l.system.Length(l.mm), l.system.Places())
}

var errNotFinite = errors.New("the figure is not finite")

func rounded(x float64, places int) ([]byte, error) {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil, errNotFinite
	}
	return appendDecimal(nil, x, places), nil
}

// amount is an amount of the stock, with all its decimals.
type amount stockroom.Amount

func (a amount) MarshalJSON() ([]byte, error) { return []byte(stockroom.Amount(a).String()), nil }

// price is an amount of money.
type price struct {
	Amount   text `json:"amount"`
	Currency text `json:"currency"`
}

func toPrice(a money.Amount) price { return price{text(a.Value.String()), text(a.Currency)} }

// wireActor is who did something.
type wireActor struct {
	Role  optional   `json:"role"`
	KeyID *uuid.UUID `json:"key_id"`
}

func toActor(a record.Actor) wireActor { return wireActor{optional(a.Role), a.KeyID} }

// wireRevision is what a result was worked out with.
type wireRevision struct {
	Engine    text `json:"engine"`
	Catalog   text `json:"catalog"`
	PriceBook text `json:"price_book"`
}

func toRevision(r record.Revision) wireRevision {
	return wireRevision{text(r.Engine), text(r.Catalog), text(r.PriceBook)}
}

// rows makes a list of the wire, which is never null.
func rows[T, R any](list []T, row func(*T) R) []R {
	out := make([]R, len(list))
	for i := range list {
		out[i] = row(&list[i])
	}
	return out
}

func texts(list []string) []text { return rows(list, func(s *string) text { return text(*s) }) }

// unless is nil for a value that stands for none.
func unless[T comparable](none, v T) *T {
	if v == none {
		return nil
	}
	return &v
}
