package view

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"

	"google.golang.org/genproto/googleapis/api/annotations"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
)

// EncodeJSON returns a message as the REST interface writes it: ProtoJSON with proto
// names and no spaces, the same bytes for the same message always, and a newline at the
// end. Fields that are empty are left out, but lists: a list is always there, so that
// no program has to ask whether it is.
func EncodeJSON(m proto.Message) ([]byte, error) {
	e := encoder{b: make([]byte, 0, 4<<10)}
	if err := e.message(m.ProtoReflect()); err != nil {
		return nil, err
	}
	return append(e.b, '\n'), nil
}

// EncodeWholeJSON is EncodeJSON with zeros and empty texts written out too.
func EncodeWholeJSON(m proto.Message) ([]byte, error) {
	spaced, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return nil, err
	}
	return compact(spaced)
}

// compact takes out the spaces that protojson puts where it likes so that nobody
// relies on them.
func compact(spaced []byte) ([]byte, error) {
	var out bytes.Buffer
	out.Grow(len(spaced) + 1)
	if err := json.Compact(&out, spaced); err != nil {
		return nil, err
	}
	out.WriteByte('\n')
	return out.Bytes(), nil
}

// encoder writes messages. protojson has no setting that writes empty lists without
// writing empty texts; what is not about that is left to it.
type encoder struct{ b []byte }

func (e *encoder) message(m protoreflect.Message) error {
	if strings.HasPrefix(string(m.Descriptor().FullName()), "google.protobuf.") {
		return e.wellKnown(m)
	}
	e.b = append(e.b, '{')
	begin := len(e.b)
	fields := m.Descriptor().Fields()
	for i := range fields.Len() {
		f := fields.Get(i)
		if !m.Has(f) && (!f.IsList() || onlySent(f)) {
			continue
		}
		if len(e.b) > begin {
			e.b = append(e.b, ',')
		}
		e.b = append(e.b, '"')
		e.b = append(e.b, f.Name()...)
		e.b = append(e.b, '"', ':')
		if err := e.field(f, m.Get(f)); err != nil {
			return fmt.Errorf("%s: %w", f.FullName(), err)
		}
	}
	e.b = append(e.b, '}')
	return nil
}

// sentOnly remembers what onlySent found.
var sentOnly sync.Map

// onlySent reports whether a field is one that callers send and nobody is answered
// (AIP-203, INPUT_ONLY).
func onlySent(f protoreflect.FieldDescriptor) bool {
	if is, ok := sentOnly.Load(f); ok {
		return is.(bool)
	}
	b, _ := proto.GetExtension(f.Options(), annotations.E_FieldBehavior).([]annotations.FieldBehavior)
	is := slices.Contains(b, annotations.FieldBehavior_INPUT_ONLY)
	sentOnly.Store(f, is)
	return is
}

func (e *encoder) field(f protoreflect.FieldDescriptor, v protoreflect.Value) error {
	switch {
	case f.IsMap():
		return fmt.Errorf("maps are not written")
	case f.IsList():
		e.b = append(e.b, '[')
		for i := range v.List().Len() {
			if i > 0 {
				e.b = append(e.b, ',')
			}
			if err := e.value(f, v.List().Get(i)); err != nil {
				return err
			}
		}
		e.b = append(e.b, ']')
		return nil
	}
	return e.value(f, v)
}

// value writes one value by the ProtoJSON mapping: 64-bit numbers are texts, bytes are
// base64.
func (e *encoder) value(f protoreflect.FieldDescriptor, v protoreflect.Value) error {
	switch f.Kind() {
	case protoreflect.StringKind:
		return e.text(v.String())
	case protoreflect.BoolKind:
		e.b = strconv.AppendBool(e.b, v.Bool())
	case protoreflect.Int32Kind:
		e.b = strconv.AppendInt(e.b, v.Int(), 10)
	case protoreflect.Int64Kind:
		e.b = append(strconv.AppendInt(append(e.b, '"'), v.Int(), 10), '"')
	case protoreflect.BytesKind:
		e.b = append(base64.StdEncoding.AppendEncode(append(e.b, '"'), v.Bytes()), '"')
	case protoreflect.DoubleKind:
		b, err := json.Marshal(v.Float())
		if err != nil {
			return err // what is not finite is in no message of ours
		}
		e.b = append(e.b, b...)
	case protoreflect.MessageKind:
		return e.message(v.Message())
	default:
		return fmt.Errorf("kind %s is not written", f.Kind())
	}
	return nil
}

const hexDigits = "0123456789abcdef"

// text writes a JSON string (RFC 8259, section 7), escaping what has to be.
func (e *encoder) text(s string) error {
	if !utf8.ValidString(s) {
		return fmt.Errorf("text is not UTF-8")
	}
	e.b = append(e.b, '"')
	begin := 0
	for i := range len(s) {
		c := s[i]
		if c >= ' ' && c != '"' && c != '\\' {
			continue
		}
		e.b = append(e.b, s[begin:i]...)
		begin = i + 1
		switch c {
		case '"', '\\':
			e.b = append(e.b, '\\', c)
		case '\n':
			e.b = append(e.b, '\\', 'n')
		case '\t':
			e.b = append(e.b, '\\', 't')
		case '\r':
			e.b = append(e.b, '\\', 'r')
		default:
			e.b = append(e.b, '\\', 'u', '0', '0', hexDigits[c>>4], hexDigits[c&15])
		}
	}
	e.b = append(append(e.b, s[begin:]...), '"')
	return nil
}

// wellKnown leaves the types that ProtoJSON spells in their own way to protojson.
func (e *encoder) wellKnown(m protoreflect.Message) error {
	spaced, err := protojson.Marshal(m.Interface())
	if err != nil {
		return err
	}
	b, err := compact(spaced)
	e.b = append(e.b, b[:max(len(b)-1, 0)]...)
	return err
}
