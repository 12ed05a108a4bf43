package fault

import (
	"errors"
	"fmt"
	"time"
)

// Kind says what kind of failure it is.
type Kind uint8

// The kinds. The zero Kind is a failure of the service's own.
const (
	Internal        Kind = iota
	Malformed            // the text sent is not the format it should be
	Invalid              // it reads, and breaks a rule of the contract
	Unauthenticated      // no key, or one that opens nothing
	Forbidden            // the key's role does not go that far
	NotFound             // not there, or not there for this caller
	Conflict             // collides with what is there
	InProgress           // the same request is still being worked on
	KeyReused            // an idempotency key came with another request
	Unavailable          // the store is away; try again
	Timeout              // it took too long; try again
	Canceled             // the caller went away
	Busy                 // too much of the same kind is being worked on; try again
)

// String names the kind.
func (k Kind) String() string {
	names := [...]string{"internal", "malformed", "invalid", "unauthenticated", "forbidden", "not found", "conflict", "in progress", "key reused", "unavailable", "timeout", "canceled", "busy"}
	if int(k) < len(names) {
		return names[k]
	}
	return fmt.Sprintf("kind %d", uint8(k))
}

// Field is one thing that is wrong with what was sent.
type Field struct {
	Pointer   string // RFC 6901 into the body; "" for the body as a whole
	Parameter string // name of a query, path or header parameter; "" for the body
	Code      string // stable word for the kind of error
	Message   string // what is wrong and how to mend it
	Range     string // what is taken there, "" where it is no range
}

// Error is a failure with what to tell the caller. Detail and Fields go out;
// Cause goes to the log.
type Error struct {
	Kind   Kind
	Detail string
	Fields []Field
	Cause  error
	// After is when it may be otherwise, from now; 0: not known.
	After time.Duration
}

// Error returns the detail and the cause.
func (e *Error) Error() string {
	text := e.Detail
	if text == "" {
		text = e.Kind.String()
	}
	for _, f := range e.Fields {
		at := f.Pointer
		if f.Parameter != "" {
			at = f.Parameter
		}
		if at == "" {
			at = "body"
		}
		text += fmt.Sprintf("\n  %s: %s", at, f.Message)
	}
	if e.Cause != nil {
		text += ": " + e.Cause.Error()
	}
	return text
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Cause }

// New makes a fault.
func New(kind Kind, format string, args ...any) *Error {
	return &Error{Kind: kind, Detail: fmt.Sprintf(format, args...)}
}

// Wrap makes a fault of a cause that stays in the log.
func Wrap(kind Kind, cause error, format string, args ...any) *Error {
	e := New(kind, format, args...)
	e.Cause = cause
	return e
}

// KindOf returns the kind of the first fault that err wraps, or Internal.
func KindOf(err error) Kind {
	var f *Error
	if errors.As(err, &f) {
		return f.Kind
	}
	return Internal
}
