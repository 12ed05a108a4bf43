package openapi

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"regexp"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"
)

//go:embed openapi.yaml
var source []byte

// Source returns the document as it was written, YAML.
func Source() []byte { return source }

// Document returns the parsed and validated document. It is read once and must
// not be changed.
var Document = sync.OnceValues(func() (*openapi3.T, error) {
	defineFormats()
	doc, err := openapi3.NewLoader().LoadFromData(source)
	if err != nil {
		return nil, fmt.Errorf("read openapi.yaml: %w", err)
	}
	if err := doc.Validate(openapi3.NewLoader().Context); err != nil {
		return nil, fmt.Errorf("openapi.yaml: %w", err)
	}
	return doc, nil
})

// JSON returns the document as JSON.
var JSON = sync.OnceValues(func() ([]byte, error) {
	doc, err := Document()
	if err != nil {
		return nil, err
	}
	b, err := json.Marshal(doc)
	if err != nil {
		return nil, fmt.Errorf("write openapi.json: %w", err)
	}
	return b, nil
})

// emailPattern catches what is not an address at all: one @, something before
// it, a name with a dot after it, no blanks. Whether mail arrives is only known
// by sending it.
var emailPattern = regexp.MustCompile(`^[^@\s<>,"\x00-\x1f\x7f]+@[^@\s<>,"\x00-\x1f\x7f]+\.[^@\s<>,".\x00-\x1f\x7f]+$`)

// defineFormats tells the validator of the formats that the document uses and
// that it does not check by itself, or lets through what nothing can read.
func defineFormats() {
	openapi3.DefineStringFormatValidator("uuid", openapi3.NewRegexpFormatValidator(`^[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}$`))
	openapi3.DefineStringFormatValidator("email", openapi3.NewRegexpFormatValidator(emailPattern.String()))
	openapi3.DefineStringFormatValidator("date", openapi3.NewCallbackValidator(func(text string) error { _, err := ParseDate(text); return err }))
	openapi3.DefineStringFormatValidator("date-time", openapi3.NewCallbackValidator(func(text string) error { _, err := ParseTime(text); return err }))
	openapi3.DefineStringFormatValidator("uri-reference", openapi3.NewRegexpFormatValidator(`^\S+$`))
}
