package store

import (
	"encoding/json"
	"fmt"

	"hatchwright/service/record"
)

// Judge says what a claim meets in a record that it could not take over (see
// Idempotency.Begin), and fills in the answer from its columns.
func Judge(found record.IdempotencyRecord, claim record.IdempotencyClaim, status int, header string, body []byte, sealed string) (Begun, error) {
	switch {
	case !found.SameRequest(claim):
		return Begun{Outcome: Other, Record: found}, nil
	case found.State != record.IdempotencyDone:
		return Begun{Outcome: Running, Record: found}, nil
	}
	found.Answer = record.Answer{Status: status, Body: body, Sealed: sealed}
	if err := json.Unmarshal([]byte(header), &found.Answer.Header); err != nil {
		return Begun{}, fmt.Errorf("the stored headers of the answer to idempotency key %q: %w", found.Key, err)
	}
	return Begun{Outcome: Stored, Record: found}, nil
}
