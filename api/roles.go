package api

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"sync"

	"github.com/getkin/kin-openapi/openapi3"

	"hatchwright/openapi"
	"hatchwright/service/fault"
	"hatchwright/service/record"
)

// What an answer holds is decided by the caller's role, here and nowhere else. The
// table is the document's: an object with x-roles tells each of its members to the
// role under which it stands and to those above, and a member that stands under none
// to the shop alone; an object without it is told whole. Handlers write answers
// whole, and what is kept is kept whole; every JSON answer passes through
// [call.Blob] on its way out, every problem through fail, every event that goes to a
// dealer through [Wire.Event].

// rolesKey marks, in the document, an object that is not told whole to everybody.
const rolesKey = "x-roles"

// roleKey marks, in the document, what only some may ask for: an operation, a query
// parameter, a format of an answer.
const roleKey = "x-role"

// parted are the roles that are told less than everything, the least first.
var parted = []record.Role{record.RoleStorefront, record.RoleDealer}

// view is what of a JSON value a role is told. A nil view tells all of it.
type view struct {
	members map[string]*view // of an object those that are told; nil: each of its values by each
	each    *view            // of the rows of a list
}

// viewer makes the views of one role.
type viewer struct {
	role record.Role
	made map[*openapi3.Schema]*view
	open map[*openapi3.Schema]bool // being made
}

func newViewer(role record.Role) *viewer {
	return &viewer{role: role, made: map[*openapi3.Schema]*view{}, open: map[*openapi3.Schema]bool{}}
}

var errRecursive = errors.New("a schema within itself cannot be told by roles")

// of makes the view of a schema.
func (v *viewer) of(ref *openapi3.SchemaRef) (*view, error) {
	if ref == nil || ref.Value == nil {
		return nil, nil
	}
	s := ref.Value
	if made, done := v.made[s]; done {
		return made, nil
	}
	if v.open[s] {
		return nil, errRecursive
	}
	v.open[s] = true
	out, err := v.schema(s)
	if err != nil {
		return nil, err
	}
	v.made[s] = out
	return out, nil
}

func (v *viewer) schema(s *openapi3.Schema) (*view, error) {
	if len(s.AllOf) == 1 && len(s.Properties) == 0 {
		return v.of(s.AllOf[0])
	}
	for _, list := range []openapi3.SchemaRefs{s.AllOf, s.OneOf, s.AnyOf} {
		for _, of := range list {
			if sub, err := v.of(of); err != nil || sub != nil {
				return nil, errors.Join(err, errors.New("what is one of several cannot be told by roles"))
			}
		}
	}
	if len(s.Properties) == 0 {
		each := s.Items
		if each == nil {
			each = s.AdditionalProperties.Schema
		}
		sub, err := v.of(each)
		if err != nil || sub == nil {
			return nil, err
		}
		return &view{each: sub}, nil
	}
	least, err := leastRoles(s)
	if err != nil {
		return nil, err
	}
	out, whole := &view{members: map[string]*view{}}, least == nil
	for _, name := range slices.Sorted(maps.Keys(s.Properties)) {
		if need, there := least[name]; least != nil && (!there || !reaches(v.role, need)) {
			whole = false
			continue
		}
		sub, err := v.of(s.Properties[name])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		out.members[name] = sub
		whole = whole && sub == nil
	}
	if whole {
		return nil, nil
	}
	return out, nil
}

// leastRoles reads x-roles of an object: the least role by member; nil where there
// is none.
func leastRoles(s *openapi3.Schema) (map[string]record.Role, error) {
	value, there := s.Extensions[rolesKey]
	if !there {
		return nil, nil
	}
	table, ok := value.(map[string]any)
	if !ok {
		return nil, fmt.Errorf("%s is no object of lists", rolesKey)
	}
	out := map[string]record.Role{}
	for role, list := range table {
		names, ok := list.([]any)
		if !ok || !slices.Contains(parted, record.Role(role)) {
			return nil, fmt.Errorf("%s: %q must be a list of members under one of %v; what stands under none is the shop's", rolesKey, role, parted)
		}
		for _, n := range names {
			name := fmt.Sprint(n)
			if s.Properties[name] == nil || out[name] != "" {
				return nil, fmt.Errorf("%s: %q is no member of the object, or stands there twice", rolesKey, name)
			}
			out[name] = record.Role(role)
		}
	}
	return out, nil
}

// reaches reports whether a role is told what takes another.
func reaches(role, need record.Role) bool {
	return role == need || role == record.RoleShop || need == record.RoleStorefront && role == record.RoleDealer
}

// views are what the roles of parted are told of one answer.
type views map[record.Role]*view

// newViews makes the views of a schema.
func newViews(ref *openapi3.SchemaRef) (views, error) {
	out := views{}
	for _, role := range parted {
		v, err := newViewer(role).of(ref)
		if err != nil {
			return nil, err
		}
		out[role] = v
	}
	return out, nil
}

// told returns what a role is told of a JSON answer. Who has no role is told what
// the least is.
func (s views) told(role record.Role, body []byte) ([]byte, error) {
	if role == record.RoleShop {
		return body, nil
	}
	v, there := s[role]
	if !there {
		v = s[record.RoleStorefront]
	}
	if v == nil {
		return body, nil
	}
	out, rest, err := v.tell(make([]byte, 0, len(body)), space(body))
	if err == nil && len(space(rest)) > 0 {
		err = errNoJSON
	}
	if err != nil {
		return nil, fault.Wrap(fault.Internal, fmt.Errorf("tell a %s: %w", role, err), "Something went wrong that is not your doing.")
	}
	return out, nil
}

var errNoJSON = errors.New("the answer is not one JSON value")

// tell appends to out what the view tells of the value that src begins with, and
// returns what follows the value. Kept members stay as they were written, byte for
// byte, in their order.
func (v *view) tell(out, src []byte) (told, rest []byte, err error) {
	if v == nil || len(src) == 0 || src[0] != '{' && src[0] != '[' {
		value, rest, err := cutValue(src)
		return append(out, value...), rest, err
	}
	if src[0] == '[' && v.each == nil {
		return out, nil, errors.New("a list where the document has an object")
	}
	object, end := src[0] == '{', byte(']')
	if object {
		end = '}'
	}
	out, src = append(out, src[0]), space(src[1:])
	for first := true; ; {
		if len(src) == 0 {
			return out, nil, errNoJSON
		}
		if src[0] == end {
			return append(out, end), src[1:], nil
		}
		sub, keep, key := v.each, true, []byte(nil)
		if object {
			if key, src, err = cutValue(src); err != nil || len(key) < 2 || key[0] != '"' {
				return out, nil, errNoJSON
			}
			if src = space(src); len(src) == 0 || src[0] != ':' {
				return out, nil, errNoJSON
			}
			src = space(src[1:])
			if v.members != nil {
				sub, keep = v.members[string(key[1:len(key)-1])]
			}
		}
		if keep {
			if !first {
				out = append(out, ',')
			}
			first = false
			if object {
				out = append(append(out, key...), ':')
			}
			out, src, err = sub.tell(out, src)
		} else {
			_, src, err = cutValue(src)
		}
		if err != nil {
			return out, nil, err
		}
		if src = space(src); len(src) > 0 && src[0] == ',' {
			src = space(src[1:])
		}
	}
}

// cutValue returns the JSON value that src begins with, and what follows it. The text
// is the service's own: it is cut, not judged.
func cutValue(src []byte) (value, rest []byte, err error) {
	depth := 0
	for i := 0; i < len(src); {
		switch c := src[i]; c {
		case '"':
			n := stringEnd(src[i:])
			if n < 0 {
				return nil, nil, errNoJSON
			}
			i += n
		case '{', '[':
			depth++
			i++
			continue
		case '}', ']':
			depth--
			i++
		case ',', ':', ' ', '\n', '\r', '\t':
			if depth == 0 {
				return nil, nil, errNoJSON
			}
			i++
			continue
		default: // a number or a word
			for i < len(src) && !bytes.ContainsRune([]byte(",:{}[]\" \n\r\t"), rune(src[i])) {
				i++
			}
		}
		if depth == 0 {
			return src[:i], src[i:], nil
		}
		if depth < 0 {
			return nil, nil, errNoJSON
		}
	}
	return nil, nil, errNoJSON
}

// stringEnd returns the length of the JSON string that src begins with, -1 where it
// does not end.
func stringEnd(src []byte) int {
	for i := 1; i < len(src); i++ {
		switch src[i] {
		case '\\':
			i++
		case '"':
			return i + 1
		}
	}
	return -1
}

// space cuts blanks off the front.
func space(src []byte) []byte { return bytes.TrimLeft(src, " \t\r\n") }

// answers are the views of an operation's JSON answers, by status.
func answers(op *openapi3.Operation) (map[int]views, error) {
	out := map[int]views{}
	for status, response := range op.Responses.Map() {
		media := response.Value.Content[jsonType]
		code, err := strconv.Atoi(status)
		if media == nil || err != nil {
			continue
		}
		if out[code], err = newViews(media.Schema); err != nil {
			return nil, fmt.Errorf("api: the answer %s of %s: %w", status, op.OperationID, err)
		}
	}
	return out, nil
}

// Blob answers with a body, of JSON with what the caller's role is told.
func (c *call) Blob(status int, contentType string, body []byte) error {
	if contentType == jsonType && c.operation.role != open {
		s, there := c.operation.answers[status]
		if !there {
			return fault.Wrap(fault.Internal, fmt.Errorf("the document has no answer %d of %s %s", status, c.operation.method, c.operation.path), "Something went wrong that is not your doing.")
		}
		var err error
		if body, err = s.told(c.caller.Role, body); err != nil {
			return err
		}
	}
	return c.Context.Blob(status, contentType, body)
}

// need refuses what takes another role than the caller's; what begins the sentence.
func (c *call) need(role record.Role, what string) error {
	if c.caller.May(role) {
		return nil
	}
	return fault.New(fault.Forbidden, "%s: this takes a %s key; yours is a %s key.", what, role, c.caller.Role)
}

// mayAsk refuses query parameters that take another role.
func (c *call) mayAsk() error {
	for _, p := range c.operation.parameters {
		role, _ := p.Extensions[roleKey].(string)
		if v := c.QueryParam(p.Name); role == "" || p.In != openapi3.ParameterInQuery || v == "" || v == "false" {
			continue
		}
		if err := c.need(record.Role(role), fmt.Sprintf("What the query parameter %s asks for is not told to everybody", p.Name)); err != nil {
			e := err.(*fault.Error)
			e.Fields = []fault.Field{{Parameter: p.Name, Code: "forbidden", Message: fmt.Sprintf("Leave this out, or use a %s key.", role)}}
			return e
		}
	}
	return nil
}

// told are the views of schemas that no operation answers with, or every one.
type toldSchemas struct{ problem, event views }

var schemasTold = sync.OnceValues(func() (t toldSchemas, err error) {
	doc, err := openapi.Document()
	if err != nil {
		return t, err
	}
	if t.problem, err = newViews(doc.Components.Schemas["Problem"]); err != nil {
		return t, fmt.Errorf("api: the schema Problem: %w", err)
	}
	if t.event, err = newViews(doc.Components.Schemas["Event"]); err != nil {
		return t, fmt.Errorf("api: the schema Event: %w", err)
	}
	return t, nil
})

// Event implements service.Wire.
func (Wire) Event(body []byte, to record.Role) ([]byte, error) {
	t, err := schemasTold()
	if err != nil {
		return nil, err
	}
	return t.event.told(to, body)
}
