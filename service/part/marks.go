package part

import "hatchwright/service/profile"

// The corners of the sections, from the flange inward and of the lid from the middle
// of its top outward. A corner is told by its mark, never by its number, so that a
// section may gain one without moving what hangs on another.
const (
	FlangeEnd   profile.Mark = iota + 1 // where the flange ends on the deck
	Edge                                // flange to recess wall
	Root                                // recess wall to ledge
	FloorOuter                          // recess wall to the gutter's floor
	FloorInner                          // the gutter's floor to the upstand
	UpstandTop                          // the upstand's wall to its top
	CoamingFoot                         // flange to the coaming's wall
	CoamingTop                          // the coaming's wall to its top
	Lip                                 // the seat, or top, to the trunk
	TrunkFoot                           // where the trunk is trimmed
	RingInside                          // the inside edge of a plate's ring
	LidFlat                             // where the flat of the lid's top begins
	LidEdge                             // the lid's top to its skirt
	SkirtFoot                           // where the skirt is trimmed
	RimEnd                              // where the face of the lid's mold ends
)

// The legs of the sections.
const (
	Flange      profile.Mark = iota + 64 // on the deck
	Wall                                 // the recess', draft f_r
	Ledge                                // the seat of a flush lid
	GutterFloor                          // between recess wall and upstand
	Upstand                              // its outer wall
	UpstandSeat                          // its top
	CoamingWall                          // its outside
	CoamingSeat                          // its top
	Trunk                                // draft f_t
	Ring                                 // of a plate, on the deck
	LidTop                               // the flat of the lid
	Skirt                                // draft f_l
	Rim                                  // of the lid's mold, outward
)

// legs are the names of the receiver's legs on drawings.
var legs = map[profile.Mark]string{
	Flange: "flange", Wall: "wall", Ledge: "ledge", GutterFloor: "gutter", Upstand: "upstand", UpstandSeat: "upstand top",
	CoamingWall: "coaming", CoamingSeat: "coaming top", Trunk: "trunk", Ring: "ring",
}

// LegName is what a leg of the receiver is called on drawings; empty for others.
func LegName(leg profile.Mark) string { return legs[leg] }

// cornerNames are the names of rounded corners on drawings: where a radius is, told by the
// first of the corners that have it.
var cornerNames = map[profile.Mark]string{
	Edge: "flange to recess wall", Root: "recess wall to ledge", Lip: "ledge to trunk",
	FloorOuter: "gutter's floor, both sides", UpstandTop: "upstand, both edges",
	CoamingFoot: "flange to coaming", CoamingTop: "coaming's top, both edges", LidEdge: "top edge of the lid",
}

// CornerName is what a rounded corner is called on drawings; empty for others.
func CornerName(corner profile.Mark) string { return cornerNames[corner] }

// SeatOf returns the ends of the flat that the seal lies on, outer end first, of a
// receiver's section; ok is false where it has none.
func SeatOf(receiver profile.Profile) (outer, inner profile.Vertex, ok bool) {
	lip, _ := receiver.Corner(Lip)
	return receiver.Leg(lip.Leg)
}

// filled tells of each corner of the receiver that has a radius whether it is an inside
// corner of its mold, made of filler; the others are rounded with the router.
//
//	a plug stands on its base board: flange and trunk meet it, or a block, inside
//	a coaming is laid inside its mold: its top's corners are inside there
var filled = map[profile.Mark]bool{
	Edge: true, UpstandTop: true, CoamingTop: true, Lip: true,
	Root: false, FloorOuter: false, FloorInner: false, CoamingFoot: false,
}

// Filled reports whether a corner of the receiver is made of filler in its mold.
func Filled(corner profile.Mark) bool { return filled[corner] }
