package record

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"
)

// Revision names what a derivation was computed with, so that it can be told
// from one computed with other rules, materials or prices.
type Revision struct {
	Engine    string
	Catalog   string
	PriceBook string
}

// Configuration is a stored hatch configuration with what was derived from it.
// It never changes once stored; a change is a new configuration that supersedes
// it.
type Configuration struct {
	ID         uuid.UUID
	DealerID   *uuid.UUID // nil: the shop's own
	Digest     string     // "sha256:" and 64 hexadecimal digits, of the canonical completed configuration
	Units      string     // units of the request, "mm" or "in"
	Pattern    string
	Verdict    string
	Name       string     // "" when none was given
	Reference  string     // the owner's own reference, "" when none was given
	Supersedes *uuid.UUID // the configuration this one revises, of the same owner; nil for none
	CreatedAt  time.Time

	Revision Revision

	// SchemaVersion is the version of the layout of the documents below.
	SchemaVersion int

	// The documents. A listing leaves them nil.
	Requested  json.RawMessage // the configuration as it was asked for
	Completed  json.RawMessage // with every default filled in, in canonical form
	Derivation json.RawMessage // the computed result; nil when none was computed
}
