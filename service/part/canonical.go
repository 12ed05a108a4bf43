package part

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"strings"

	"hatchwright/service/quantity"
)

// canonicalPlaces is the grain of the canonical form: a millionth of a
// millimeter, so that the same hatch asked for in inches and in millimeters has
// the same digest.
const canonicalPlaces = 6

// Canonical returns the configuration's canonical form: JSON with sorted keys,
// the figures that apply and no others, in mm with at most six decimals. Units
// are left out: they say how the answer is written, not what is built.
func (c *Configuration) Canonical() []byte {
	root := map[string]any{}
	put := func(pointer string, value any) {
		at := root
		keys := strings.Split(pointer[1:], "/")
		for _, k := range keys[:len(keys)-1] {
			next, ok := at[k].(map[string]any)
			if !ok {
				next = map[string]any{}
				at[k] = next
			}
			at = next
		}
		at[keys[len(keys)-1]] = value
	}
	number := func(x float64) json.Number { return json.Number(quantity.Decimal(x, canonicalPlaces)) }
	for i := range Parameters {
		p := &Parameters[i]
		switch {
		case !p.Used(c):
		case p.IsNumber():
			if x := *p.Number(c); !p.Null || x != 0 {
				put(p.Pointer, number(x))
			}
		default:
			if w := *p.Word(c); !p.Null || w != "" {
				put(p.Pointer, w)
			}
		}
	}
	if c.Outline.Shape == Polygon {
		corners := make([]any, len(c.Outline.Corners))
		for i, k := range c.Outline.Corners {
			corners[i] = map[string]any{"x": number(k.At.X), "y": number(k.At.Y), "radius": number(k.Radius)}
		}
		put("/outline/corners", corners)
	}
	if c.Laminate.Schedule == ScheduleListed {
		put("/laminate/lid", c.Laminate.Lid)
		put("/laminate/receiver", c.Laminate.Receiver)
	}
	if len(c.Hardware) > 0 {
		fittings := make([]any, len(c.Hardware))
		for i, h := range c.Hardware {
			fittings[i] = map[string]any{"item": h.Item, "edge": h.Edge, "count": h.Count}
		}
		put("/hardware", fittings)
	}
	out, err := json.Marshal(root)
	if err != nil {
		// Numbers are decimals and strings are Go's: nothing here fails to encode.
		panic(fmt.Sprintf("canonical form: %v", err))
	}
	return out
}

// Digest names the configuration: "sha256:" and the hex of its canonical form's
// SHA-256.
func (c *Configuration) Digest() string {
	sum := sha256.Sum256(c.Canonical())
	return "sha256:" + hex.EncodeToString(sum[:])
}
