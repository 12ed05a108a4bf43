package part

// Pattern is the kind of a hatch. The zero Pattern is none.
type Pattern string

// The patterns that the service builds, as on the wire.
const (
	FlushLedge    Pattern = "flush-ledge"
	FlushGutter   Pattern = "flush-gutter"
	RaisedCoaming Pattern = "raised-coaming"
	BoltedPlate   Pattern = "bolted-plate"
)

// Patterns are those that the service builds, in the order of the wire.
var Patterns = []Pattern{FlushLedge, FlushGutter, RaisedCoaming, BoltedPlate}

func patternWords() []string {
	words := make([]string, len(Patterns))
	for i, p := range Patterns {
		words[i] = string(p)
	}
	return words
}
