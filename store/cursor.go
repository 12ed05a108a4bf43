package store

import (
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/binary"
	"fmt"
	"time"

	"github.com/google/uuid"
)

// Position is where a page ended: the creation time and id of its last record.
// Lists by version keep the version in the id's last eight bytes instead and
// leave the time zero (see VersionPosition).
type Position struct {
	CreatedAt time.Time
	ID        uuid.UUID
}

// VersionPosition is the position of a numbered version.
func VersionPosition(version int) Position {
	var p Position
	p.CreatedAt = time.UnixMilli(0).UTC()
	binary.BigEndian.PutUint64(p.ID[8:], uint64(version))
	return p
}

// Version is the version that VersionPosition was given.
func (p Position) Version() int { return int(binary.BigEndian.Uint64(p.ID[8:])) }

// Place names one list under one scope and filter. Only the place that gave a
// cursor out takes it back.
type Place struct {
	name   string
	digest [sha256.Size]byte
}

// newPlace digests the parts with their lengths, so that no two lists of parts
// run together into one text.
func newPlace(name string, scope Scope, parts ...string) Place {
	h := sha256.New()
	var n [4]byte
	for _, p := range append([]string{"hatchwright cursor", name, scope.String()}, parts...) {
		binary.BigEndian.PutUint32(n[:], uint32(len(p)))
		h.Write(n[:])
		h.Write([]byte(p))
	}
	place := Place{name: name}
	h.Sum(place.digest[:0])
	return place
}

// CursorError says why a cursor was refused. It matches ErrCursor.
type CursorError struct {
	List   string // the list it was given to
	Reason string // in words for a person
}

func (e *CursorError) Error() string {
	return fmt.Sprintf("invalid cursor for the list of %s: %s; start again without a cursor", e.List, e.Reason)
}

// Is matches ErrCursor.
func (e *CursorError) Is(target error) bool { return target == ErrCursor }

// A cursor is, in base64url without padding:
//
//	byte  0      cursorVersion
//	bytes 1-8    creation time, Unix milliseconds, big endian
//	bytes 9-24   id
//	bytes 25-32  first 8 bytes of SHA-256(place digest, bytes 0-24)
//
// The check tells a damaged cursor, or one of another list, scope or filter,
// from a good one. It is no secret and need not be: a cursor holds no rights,
// only a position within what the reader's own scope and filter let it see.
const (
	cursorVersion = 1
	cursorBody    = 1 + 8 + 16
	cursorCheck   = 8
)

// lastMilli is the end of the year 9999 in Unix milliseconds, the last time that
// RFC 3339 can write. Records from before 1970 do not exist.
const lastMilli = 253_402_300_799_999

var cursorText = base64.RawURLEncoding.Strict()

// EncodeCursor writes the position as a cursor of the place.
func EncodeCursor(place Place, p Position) string {
	raw := make([]byte, cursorBody, cursorBody+cursorCheck)
	raw[0] = cursorVersion
	binary.BigEndian.PutUint64(raw[1:], uint64(p.CreatedAt.UnixMilli()))
	copy(raw[9:], p.ID[:])
	raw = append(raw, check(place, raw)...)
	return cursorText.EncodeToString(raw)
}

// DecodeCursor reads a cursor that EncodeCursor wrote for the same place. Any
// other text gives a *CursorError.
func DecodeCursor(place Place, cursor string) (Position, error) {
	refuse := func(reason string) (Position, error) {
		return Position{}, &CursorError{List: place.name, Reason: reason}
	}
	if len(cursor) != cursorText.EncodedLen(cursorBody+cursorCheck) {
		return refuse("its length is wrong")
	}
	var raw [cursorBody + cursorCheck]byte
	for i := range len(cursor) {
		// The decoder would skip line ends.
		if cursor[i] == '\n' || cursor[i] == '\r' {
			return refuse("it is not base64url text")
		}
	}
	if _, err := cursorText.Decode(raw[:], []byte(cursor)); err != nil {
		return refuse("it is not base64url text")
	}
	if raw[0] != cursorVersion {
		return refuse("it is of another version of the service")
	}
	if subtle.ConstantTimeCompare(raw[cursorBody:], check(place, raw[:cursorBody])) != 1 {
		return refuse("it was changed, or belongs to another list or filter")
	}
	millis := binary.BigEndian.Uint64(raw[1:])
	if millis > lastMilli {
		return refuse("its time is out of range")
	}
	var p Position
	p.CreatedAt = time.UnixMilli(int64(millis)).UTC()
	copy(p.ID[:], raw[9:])
	return p, nil
}

func check(place Place, body []byte) []byte {
	h := sha256.New()
	h.Write(place.digest[:])
	h.Write(body)
	return h.Sum(nil)[:cursorCheck]
}

// After reads the page's cursor. ok is false on the first page, which has none.
func (p Page) After(place Place) (at Position, ok bool, err error) {
	if p.Cursor == "" {
		return Position{}, false, nil
	}
	at, err = DecodeCursor(place, p.Cursor)
	return at, err == nil, err
}

// Cut makes a listing of rows that were read with one more than the page holds:
// if that one is there, the page has a next one. position tells where a record
// stands.
func Cut[T any](rows []T, page Page, place Place, position func(T) Position) Listing[T] {
	if size := page.Size(); len(rows) > size {
		rows = rows[:size:size]
		return Listing[T]{Items: rows, NextCursor: EncodeCursor(place, position(rows[size-1]))}
	}
	return Listing[T]{Items: rows}
}
