package service

import (
	"encoding/json"

	"hatchwright/service/part"
	"hatchwright/service/record"
)

// Wire turns documents of the wire into the domain's shapes and back. Package api
// has it; the service keeps derivations in the form in which they are answered.
type Wire interface {
	// Decode reads a configuration. Errors are *fault.Error.
	Decode(body []byte) (part.Request, error)
	// Encode writes what is kept of a configuration and its lead time.
	Encode(*Derived) (Documents, error)
	// Render makes of what a use case made for a caller the answer to send and to keep.
	Render(to Caller, made any) (record.Answer, error)
	// Event returns what a role is told of an event.
	Event(body []byte, to record.Role) ([]byte, error)
}

// Documents are a result in the form in which it is kept.
type Documents struct {
	Completed  json.RawMessage // the completed configuration, in its own units
	Derivation json.RawMessage // the answer, whole
}
