package service

import (
	"fmt"
	"strings"

	"hatchwright/service/derivation"
	"hatchwright/service/fault"
	"hatchwright/service/part"
)

// refuse returns a fault for figures that mean nothing for what is asked, and for
// figures that only the customer can give and did not. at is where the
// configuration stands in the body, "" for the body itself.
func refuse(e *derivation.Engine, r part.Request, at string) error {
	c := e.Complete(r)
	var fields []fault.Field
	for _, pointer := range part.Misplaced(r, &c) {
		fields = append(fields, fault.Field{
			Pointer: at + pointer, Code: "not_applicable",
			Message: fmt.Sprintf("This means nothing %s. Leave it out, or change that.", circumstance(pointer, &c)),
		})
	}
	for _, pointer := range part.Missing(r, &c) {
		fields = append(fields, fault.Field{
			Pointer: at + pointer, Code: "missing",
			Message: fmt.Sprintf("This must be given %s.", circumstance(pointer, &c)),
		})
	}
	if len(fields) == 0 {
		return nil
	}
	return &fault.Error{Kind: fault.Invalid, Detail: "The figures do not go together; see errors.", Fields: fields}
}

// circumstance names the choice that decides whether the figure at pointer
// applies.
func circumstance(pointer string, c *part.Configuration) string {
	switch {
	case strings.HasPrefix(pointer, "/outline/"):
		return fmt.Sprintf("for the shape %q", c.Outline.Shape)
	case strings.HasPrefix(pointer, "/duty/"):
		return fmt.Sprintf("for the duty %q", c.Duty.Kind)
	case strings.HasPrefix(pointer, "/laminate/"), pointer == "/lid/core":
		return fmt.Sprintf("with the schedule %q", c.Laminate.Schedule)
	}
	return fmt.Sprintf("for the pattern %q", c.Pattern)
}
