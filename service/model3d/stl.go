package model3d

import (
	"encoding/binary"
	"math"
)

// STL returns the mesh as binary STL in mm, z up: an 80-byte header, the count,
// and for each triangle its normal, its corners and two spare bytes, all little
// endian. STL has no place for a unit: the header says mm.
func (m Mesh) STL() []byte {
	const header, record = 84, 50
	out := make([]byte, header, header+record*len(m.Triangles))
	copy(out, "hatchwright "+m.Name+", mm") // not "solid": that begins the text form
	binary.LittleEndian.PutUint32(out[80:], uint32(len(m.Triangles)))
	f := func(x float64) { out = binary.LittleEndian.AppendUint32(out, math.Float32bits(float32(x))) }
	point := func(v Vertex) { f(v.X); f(v.Y); f(v.Z) }
	for _, t := range m.Triangles {
		a, b, c := m.Vertices[t[0]], m.Vertices[t[1]], m.Vertices[t[2]]
		u, w := Vertex{b.X - a.X, b.Y - a.Y, b.Z - a.Z}, Vertex{c.X - a.X, c.Y - a.Y, c.Z - a.Z}
		n := Vertex{u.Y*w.Z - u.Z*w.Y, u.Z*w.X - u.X*w.Z, u.X*w.Y - u.Y*w.X}
		if l := math.Sqrt(n.X*n.X + n.Y*n.Y + n.Z*n.Z); l > 0 {
			n = Vertex{n.X / l, n.Y / l, n.Z / l}
		}
		point(n)
		point(a)
		point(b)
		point(c)
		out = append(out, 0, 0)
	}
	return out
}
