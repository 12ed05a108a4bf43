package record

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
)

// MoldState is what a mold is good for.
type MoldState string

// The states.
const (
	MoldReady   MoldState = "ready"
	MoldInUse   MoldState = "in_use"  // a part is in it
	MoldRetired MoldState = "retired" // worn, cut up or given away: for good
)

// Valid tells whether s is one of the states above.
func (s MoldState) Valid() bool { return s == MoldReady || s == MoldInUse || s == MoldRetired }

// Mold is a mold that stands in the shop. Only Version, Tag, RemainingPulls,
// Pulls, State, Location, Note and UpdatedAt change.
type Mold struct {
	ID              uuid.UUID
	DealerID        *uuid.UUID // who alone may have parts from it; nil: everybody
	Version         int        // 1, and one more with each change: the ETag
	Tag             string     // painted on it, "" for none
	ConfigurationID *uuid.UUID // the hatch that it was built for; nil when not kept

	// See package register.
	Part        string
	Class       string
	Fingerprint string
	Set         string // shared by the molds of one hatch
	Long        float64
	Short       float64 // box round the outline, mm
	LeastRadius float64 // mm
	Face        json.RawMessage

	RemainingPulls int
	Pulls          int // parts taken from it so far
	State          MoldState
	Location       string
	Note           string
	CreatedAt      time.Time
	UpdatedAt      time.Time
}
