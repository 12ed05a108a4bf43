package service

import (
	"encoding/binary"
	"fmt"
	"io"

	"github.com/google/uuid"
)

// newID makes a UUID of version 7 (RFC 9562, 5.7) from the service's own clock
// and random source:
//
//	48 bits of Unix milliseconds, version, 12 bits of a counter, variant, 62 random bits
//
// Ids of one process sort by when they were made: within a millisecond the counter
// goes up (6.2, method 1). It begins with 11 random bits, so there is room for at
// least 2048 ids; when it is full, or the clock goes back, the last millisecond
// that was used serves on, plus one for each time it is full. Ids of several
// processes within a millisecond are in no order. Nothing counts on one: events and
// deliveries go by sequence, lists by creation time with the id only between equals.
func (s *Service) newID() (uuid.UUID, error) {
	var id uuid.UUID
	if _, err := io.ReadFull(s.random, id[6:]); err != nil {
		return uuid.Nil, fmt.Errorf("random source: %w", err)
	}
	ms, counter := s.ids.next(s.clock().UnixMilli(), binary.BigEndian.Uint16(id[6:]))
	var b [8]byte
	binary.BigEndian.PutUint64(b[:], uint64(ms))
	copy(id[:6], b[2:])
	binary.BigEndian.PutUint16(id[6:], 0x7000|counter)
	id[8] = id[8]&0x3f | 0x80
	return id, nil
}
