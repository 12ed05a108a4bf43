package part

// Part is one of the two moldings that a hatch is made of. The zero Part is none.
type Part string

// The parts, as on the wire.
const (
	Receiver Part = "receiver"
	Lid      Part = "lid"
)

// Parts are both, in the order in which they are built and told.
var Parts = [...]Part{Receiver, Lid}
