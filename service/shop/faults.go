package shop

import (
	"errors"
	"fmt"
	"slices"
	"strings"
)

// The three documents, as faults name them.
const (
	ProfileDocument   = "profile"
	MaterialsDocument = "materials"
	PriceBookDocument = "price book"
)

// ErrDocument is wrapped by every error of decoding a shop document.
var ErrDocument = errors.New("shop document refused")

// Fault is one thing that is wrong with a document.
type Fault struct {
	Document string // one of the three
	Pointer  string // RFC 6901, of the place in it
	Code     string // stable word for the kind of fault
	Message  string // a sentence: what is wrong and how to mend it
	Range    string // what is taken there, "" where it is no range
	// Between says that the document does not fit to another one, rather than
	// being wrong by itself.
	Between bool

	at int // where it stands in the document
}

// Faults are what is wrong with the documents, each document's in its own order. As
// an error it wraps ErrDocument.
type Faults []Fault

// Error lists them.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, one := range f {
		lines[i] = fmt.Sprintf("%s: %s: %s", one.Document, one.Pointer, one.Message)
	}
	return ErrDocument.Error() + ": " + strings.Join(lines, "; ")
}

// Unwrap returns ErrDocument.
func (f Faults) Unwrap() error { return ErrDocument }

// Err returns the faults as an error, nil where there are none.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// FaultsOf returns the faults that an error carries.
func FaultsOf(err error) Faults {
	var f Faults
	if errors.As(err, &f) {
		return f
	}
	return nil
}

// fault is a fault without its document.
func fault(pointer, code, format string, args ...any) Fault {
	return Fault{Pointer: pointer, Code: code, Message: fmt.Sprintf(format, args...)}
}

// OfProfile is a fault of the profile that a later look at it finds.
func OfProfile(pointer, code, format string, args ...any) Fault {
	f := fault(pointer, code, format, args...)
	f.Document = ProfileDocument
	return f
}

// Of are the faults of one document.
func (f Faults) Of(document string) (out Faults) {
	for _, one := range f {
		if one.Document == document {
			out = append(out, one)
		}
	}
	return out
}

// has reports whether a fault stands at a place or below it.
func (f Faults) has(document, pointer string) bool {
	return slices.ContainsFunc(f, func(one Fault) bool {
		return one.Document == document && (one.Pointer == pointer || strings.HasPrefix(one.Pointer, pointer+"/"))
	})
}

// escape writes a key as a reference token (RFC 6901, section 3).
func escape(key string) string {
	return strings.NewReplacer("~", "~0", "/", "~1").Replace(key)
}

// Below is the pointer of a member of the place that a pointer names.
func Below(pointer, key string) string { return pointer + "/" + escape(key) }
