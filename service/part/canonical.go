package part

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"hatchwright/service/quantity"
)

// canonicalPlaces is the grain of the canonical form: a millionth of a
// millimeter, so that the same hatch asked for in inches and in millimeters has
// the same digest.
const canonicalPlaces = 6

// member is one figure of the canonical form: its group and key, and how it is
// written; write returns buf unchanged where the figure does not apply.
type member struct {
	group, key string // group is "" at the root
	write      func(buf []byte, c *Configuration) []byte
}

// members are every figure in the order of the canonical form: keys sorted, a
// group standing where its name sorts among the root's keys.
var members = func() []member {
	var out []member
	add := func(pointer string, write func([]byte, *Configuration) []byte) {
		group, key, nested := strings.Cut(pointer[1:], "/")
		if !nested {
			group, key = "", group
		}
		out = append(out, member{group, key, write})
	}
	for i := range Parameters {
		p := &Parameters[i]
		add(p.Pointer, func(buf []byte, c *Configuration) []byte {
			switch {
			case !p.Used(c):
			case p.IsNumber():
				if x := *p.Number(c); !p.Null || x != 0 {
					return appendCanonical(buf, x)
				}
			default:
				if w := *p.Word(c); !p.Null || w != "" {
					return appendWord(buf, w)
				}
			}
			return buf
		})
	}
	add("/outline/corners", func(buf []byte, c *Configuration) []byte {
		if c.Outline.Shape != Polygon {
			return buf
		}
		buf = append(buf, '[')
		for i, k := range c.Outline.Corners {
			if i > 0 {
				buf = append(buf, ',')
			}
			buf = appendCanonical(append(buf, `{"radius":`...), k.Radius)
			buf = appendCanonical(append(buf, `,"x":`...), k.At.X)
			buf = appendCanonical(append(buf, `,"y":`...), k.At.Y)
			buf = append(buf, '}')
		}
		return append(buf, ']')
	})
	plies := func(of func(*Configuration) []string) func([]byte, *Configuration) []byte {
		return func(buf []byte, c *Configuration) []byte {
			if c.Laminate.Schedule != ScheduleListed {
				return buf
			}
			buf = append(buf, '[')
			for i, w := range of(c) {
				if i > 0 {
					buf = append(buf, ',')
				}
				buf = appendWord(buf, w)
			}
			return append(buf, ']')
		}
	}
	add("/laminate/lid", plies(func(c *Configuration) []string { return c.Laminate.Lid }))
	add("/laminate/receiver", plies(func(c *Configuration) []string { return c.Laminate.Receiver }))
	add("/hardware", func(buf []byte, c *Configuration) []byte {
		if len(c.Hardware) == 0 {
			return buf
		}
		buf = append(buf, '[')
		for i, h := range c.Hardware {
			if i > 0 {
				buf = append(buf, ',')
			}
			buf = strconv.AppendInt(append(buf, `{"count":`...), int64(h.Count), 10)
			buf = appendWord(append(buf, `,"edge":`...), h.Edge)
			buf = appendWord(append(buf, `,"item":`...), h.Item)
			buf = append(buf, '}')
		}
		return append(buf, ']')
	})
	slices.SortFunc(out, func(a, b member) int {
		at := func(m member) string {
			if m.group == "" {
				return m.key
			}
			return m.group
		}
		if c := strings.Compare(at(a), at(b)); c != 0 {
			return c
		}
		return strings.Compare(a.key, b.key)
	})
	return out
}()

func appendCanonical(buf []byte, x float64) []byte {
	return append(buf, quantity.Decimal(x, canonicalPlaces)...)
}

func appendWord(buf []byte, w string) []byte {
	b, err := json.Marshal(w)
	if err != nil {
		return append(buf, `""`...) // a string always encodes
	}
	return append(buf, b...)
}

// Canonical returns the configuration's canonical form: JSON with sorted keys,
// the figures that apply and no others, in mm with at most six decimals. Units
// are left out: they say how the answer is written, not what is built.
func (c *Configuration) Canonical() []byte {
	buf := make([]byte, 0, 1024)
	buf = append(buf, '{')
	group := ""
	for i := range members {
		m := &members[i]
		start := len(buf)
		if m.group != group && group != "" {
			buf = append(buf, '}')
		}
		if last := buf[len(buf)-1]; last != '{' {
			buf = append(buf, ',')
		}
		if m.group != group && m.group != "" {
			buf = append(append(append(buf, '"'), m.group...), `":{`...)
		}
		buf = append(append(append(buf, '"'), m.key...), `":`...)
		before := len(buf)
		if buf = m.write(buf, c); len(buf) == before {
			buf = buf[:start]
			continue
		}
		group = m.group
	}
	if group != "" {
		buf = append(buf, '}')
	}
	return append(buf, '}')
}

// Digest names the configuration: "sha256:" and the hex of its canonical form's
// SHA-256.
func (c *Configuration) Digest() string {
	sum := sha256.Sum256(c.Canonical())
	return "sha256:" + hex.EncodeToString(sum[:])
}
