package register

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"slices"
	"strconv"
	"strings"

	"hatchwright/service/outline"
)

// grain is the step in which figures enter a fingerprint, mm: a mold of board and
// filler is not built truer than a tenth of that of a millimeter, so what differs
// by less than a hundredth is the same mold.
const grain = 0.01

// grainShift keeps round figures, in mm as in inches, off the edges between two
// steps, where noise of the arithmetic would decide: no multiple of 0.001 mm or of
// 1/1024 in comes nearer to an edge than 1e-5 mm.
const grainShift = 0.00369140625

func grains(x float64) string {
	return strconv.FormatInt(int64(math.Floor((x+grainShift)/grain)), 10)
}

// Fingerprint is the same for faces that make the same part, and only for them:
// "sha256:" and 64 hexadecimal digits over the canonical text of all that decides
// the face, in steps of 0.01 mm.
func (f Face) Fingerprint() string { return digest(f.text()) }

// Set is the fingerprint of the molds of one hatch, which belong together: a lid
// fits the receiver it was derived with.
func Set(faces []Face) string {
	texts := make([]string, len(faces))
	for i, f := range faces {
		texts[i] = f.text()
	}
	slices.Sort(texts)
	return digest(strings.Join(texts, "\n"))
}

func digest(text string) string {
	sum := sha256.Sum256([]byte("hatchwright mold face 1\n" + text))
	return "sha256:" + hex.EncodeToString(sum[:])
}

// text is the canonical form: the least of the texts in four turns, each laid with
// the middle of the first outline's box on the origin.
func (f Face) text() string {
	var b strings.Builder
	b.WriteString(f.Class())
	for _, v := range f.Section {
		b.WriteString("\nn " + grains(v.At.N) + " z " + grains(v.At.Z) + " r " + grains(v.Radius))
	}
	least := ""
	for turn := range 4 {
		var t strings.Builder
		for _, c := range f.laid(turn) {
			t.WriteString("\n" + c.Name + " " + around(c.Outline))
		}
		if turn == 0 || t.String() < least {
			least = t.String()
		}
	}
	return b.String() + least
}

// laid are the outlines turned by so many right angles, with the middle of the
// first one's box on the origin.
func (f Face) laid(turns int) []Curve {
	if len(f.Outlines) == 0 {
		return nil
	}
	out := make([]Curve, len(f.Outlines))
	var middle outline.Point
	for i, c := range f.Outlines {
		o := c.Outline
		if turns != 0 {
			o = o.Rotate(float64(90 * turns))
		}
		if i == 0 {
			least, most := o.Bounds()
			middle = outline.Point{X: (least.X + most.X) / 2, Y: (least.Y + most.Y) / 2}
		}
		out[i] = Curve{c.Name, o.Translate(-middle.X, -middle.Y)}
	}
	return out
}

// around writes the corners beginning where the text is least.
func around(o outline.Outline) string {
	corners := o.Corners()
	words := make([]string, len(corners))
	for i, c := range corners {
		words[i] = grains(c.At.X) + " " + grains(c.At.Y) + " " + grains(c.Radius) + ";"
	}
	least := ""
	for i := range words {
		if t := strings.Join(words[i:], "") + strings.Join(words[:i], ""); i == 0 || t < least {
			least = t
		}
	}
	return least
}
