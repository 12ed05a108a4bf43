package model3d

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
)

// Meta is what a GLB says of itself.
type Meta struct {
	Digest string
	Date   string
}

// GLB returns the meshes as one glTF 2.0 binary file: a node for each, named as
// the mesh, in meters, y up. Positions are shared between triangles, so that the
// file is as watertight as the meshes; normals are left to the reader, which
// shades flat without them. Molds are set beside the parts, so that nothing
// stands in anything else.
//
//	x = x    y = z (up)    z = -y
//
// Source: Khronos Group, glTF 2.0 specification, sections 3 and 4 (GLB).
// Errors: no mesh, or one too large for a 32-bit file.
func GLB(meshes []Mesh, meta Meta) ([]byte, error) {
	if len(meshes) == 0 {
		return nil, fmt.Errorf("model: no mesh to write")
	}
	type object = map[string]any
	var nodes, list, views, accessors []object
	var bin []byte
	var roots []int
	right := 0.0 // where the next thing may stand, m along x
	for i, m := range meshes {
		lo := [3]float32{float32(math.Inf(1)), float32(math.Inf(1)), float32(math.Inf(1))}
		hi := [3]float32{float32(math.Inf(-1)), float32(math.Inf(-1)), float32(math.Inf(-1))}
		start := len(bin)
		for _, v := range m.Vertices {
			p := [3]float32{float32(v.X / 1000), float32(v.Z / 1000), float32(-v.Y / 1000)}
			for k, c := range p {
				lo[k], hi[k] = min(lo[k], c), max(hi[k], c)
				bin = binary.LittleEndian.AppendUint32(bin, math.Float32bits(c))
			}
		}
		views = append(views, object{"buffer": 0, "byteOffset": start, "byteLength": len(bin) - start, "target": 34962})
		accessors = append(accessors, object{"bufferView": 2 * i, "componentType": 5126, "count": len(m.Vertices), "type": "VEC3", "min": lo, "max": hi})
		start = len(bin)
		for _, t := range m.Triangles {
			for _, k := range t {
				bin = binary.LittleEndian.AppendUint32(bin, k)
			}
		}
		views = append(views, object{"buffer": 0, "byteOffset": start, "byteLength": len(bin) - start, "target": 34963})
		accessors = append(accessors, object{"bufferView": 2*i + 1, "componentType": 5125, "count": 3 * len(m.Triangles), "type": "SCALAR"})
		list = append(list, object{"name": m.Name, "primitives": []object{{"attributes": object{"POSITION": 2 * i}, "indices": 2*i + 1, "material": 0, "mode": 4}}})
		node := object{"name": m.Name, "mesh": i, "extras": object{"chord_error_mm": m.ChordError}}
		if isMold := m.Name == ReceiverMold || m.Name == LidMold; isMold && i > 0 {
			const apart = 0.1
			node["translation"] = []float64{math.Round((right+apart-float64(lo[0]))*1000) / 1000, 0, 0}
			right += apart + float64(hi[0]-lo[0])
		} else {
			right = math.Max(right, float64(hi[0]))
		}
		nodes = append(nodes, node)
		roots = append(roots, i)
	}
	doc := object{
		"asset":       object{"version": "2.0", "generator": "hatchwright", "extras": object{"configuration": meta.Digest, "date": meta.Date, "units": "m"}},
		"scene":       0,
		"scenes":      []object{{"name": "hatch", "nodes": roots}},
		"nodes":       nodes,
		"meshes":      list,
		"materials":   []object{{"name": "gelcoat", "pbrMetallicRoughness": object{"baseColorFactor": []float64{0.9, 0.9, 0.88, 1}, "metallicFactor": 0, "roughnessFactor": 0.5}}},
		"accessors":   accessors,
		"bufferViews": views,
		"buffers":     []object{{"byteLength": len(bin)}},
	}
	text, err := json.Marshal(doc) // maps are written in the order of their keys
	if err != nil {
		return nil, fmt.Errorf("model: write GLB: %w", err)
	}
	for len(text)%4 != 0 {
		text = append(text, ' ')
	}
	total := 12 + 8 + len(text) + 8 + len(bin)
	if total > math.MaxUint32 {
		return nil, fmt.Errorf("model: %d bytes are more than a GLB can hold: ask for a larger chord error", total)
	}
	out := make([]byte, 0, total)
	word := func(v uint32) { out = binary.LittleEndian.AppendUint32(out, v) }
	const magic, jsonChunk, binChunk = 0x46546C67, 0x4E4F534A, 0x004E4942
	word(magic)
	word(2)
	word(uint32(total))
	word(uint32(len(text)))
	word(jsonChunk)
	out = append(out, text...)
	word(uint32(len(bin)))
	word(binChunk)
	return append(out, bin...), nil
}
