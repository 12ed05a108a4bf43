package tooling

import "hatchwright/service/part"

// Board is a kind of board or block that a mold is built of. The zero Board is none:
// a template, not a board.
type Board uint8

// The boards, from the bench up.
const (
	BaseBoard   Board = iota + 1 // a plain board: the deck plane, a coaming's top, the lid's face
	RecessBlock                  // as large as the recess
	GutterRing                   // round the groove that becomes a gutter's upstand
	CavityBoard                  // boards with a hole, of a lid's or a coaming's mold
	TrunkBlock                   // as large as the trunk
)

var boardNames = [...]string{BaseBoard: "base board", RecessBlock: "block 1", GutterRing: "gutter ring", CavityBoard: "cavity board", TrunkBlock: "block 2"}

// String is what the board is called on the wire and on sheets.
func (b Board) String() string { return boardNames[b] }

// IsHole reports whether the board's outline is a hole's.
func (b Board) IsHole() bool { return b == CavityBoard }

// Label names a board of a part's mold on a panel or at a router step.
func (b Board) Label(of part.Part) string { return string(of) + " " + b.String() }
