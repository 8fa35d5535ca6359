package rest

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"proofload/server/ask"
	"proofload/server/fault"
	"proofload/specdata"
)

// readJSON reads a body into a message. The error is RequestMalformed and names the
// field, what was found and what is allowed, in our words: those of the library change
// from release to release and name nothing that a caller knows.
func readJSON(body []byte, into proto.Message) error {
	if protojson.Unmarshal(body, into) == nil {
		return nil
	}
	if err := wrongJSON(body, into.ProtoReflect().Descriptor()); err != nil {
		return err
	}
	return fault.New(fault.RequestMalformed, "body is not what this address takes; the OpenAPI document (GET /openapi.json) says what is")
}

// wrongJSON returns what is wrong with a body that is no message, nil where that is not found.
func wrongJSON(body []byte, m protoreflect.MessageDescriptor) error {
	switch {
	case len(bytes.TrimSpace(body)) == 0:
		return fault.New(fault.RequestMalformed, "body is empty; send a JSON object")
	case !utf8.Valid(body):
		return fault.New(fault.RequestMalformed, "body is not UTF-8 text")
	}
	var syntax *json.SyntaxError
	if err := json.Unmarshal(body, new(any)); errors.As(err, &syntax) {
		line, column := placeOf(body, syntax.Offset)
		return fault.New(fault.RequestMalformed, "body is no JSON at line %d, column %d", line, column).With("line", fmt.Sprint(line)).With("column", fmt.Sprint(column))
	} else if errors.Is(err, io.ErrUnexpectedEOF) {
		return fault.New(fault.RequestMalformed, "body ends before its JSON does")
	}
	d := json.NewDecoder(bytes.NewReader(body))
	d.UseNumber()
	return wrongValue(d, "", m)
}

// placeOf returns the line and the column, in bytes, of an offset behind a byte.
func placeOf(body []byte, offset int64) (line, column int) {
	before := body[:max(0, min(int(offset)-1, len(body)))]
	return bytes.Count(before, []byte("\n")) + 1, len(before) - bytes.LastIndexByte(before, '\n')
}

// wrongField is the error of one place of a body, "" for the whole.
func wrongField(at, format string, args ...any) error {
	if at == "" {
		return fault.New(fault.RequestMalformed, "body "+format, args...)
	}
	e := fault.New(fault.RequestMalformed, "field "+ask.Clip(at)+" "+format, args...)
	e.Violations = []fault.Violation{{Field: ask.Clip(at), Description: e.Message}}
	return e.With("field", ask.Clip(at))
}

// wrongValue reads a message and returns the first thing wrong with it.
func wrongValue(d *json.Decoder, at string, m protoreflect.MessageDescriptor) error {
	t, err := d.Token()
	if err != nil {
		return nil
	}
	switch m.FullName() { // a caller's own document
	case "google.protobuf.Struct":
		if t != json.Delim('{') {
			return wrongField(at, "is %s; allowed: an object", found(t))
		}
		return skip(d, t)
	case "google.protobuf.ListValue":
		if t != json.Delim('[') {
			return wrongField(at, "is %s; allowed: a list", found(t))
		}
		return skip(d, t)
	}
	if m.FullName() == "google.protobuf.Timestamp" {
		if text, ok := t.(string); ok {
			return wrongField(at, "%q is no time; write it like 2026-09-14T08:00:00Z", ask.Clip(text))
		}
		return wrongField(at, "is %s; allowed: a time, written like \"2026-09-14T08:00:00Z\"", found(t))
	}
	if t != json.Delim('{') {
		return wrongField(at, "is %s; allowed: an object", found(t))
	}
	given := map[string]bool{}
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return nil
		}
		name := key.(string)
		f := m.Fields().ByJSONName(name)
		if f == nil {
			f = m.Fields().ByName(protoreflect.Name(name))
		}
		if f == nil {
			return unknownField(at, name, m)
		}
		inner := string(f.Name())
		if at != "" {
			inner = at + "." + inner
		}
		if given[string(f.Name())] {
			return wrongField(inner, "is given twice; give it once")
		}
		given[string(f.Name())] = true
		if err := wrongMember(d, inner, f); err != nil {
			return err
		}
	}
	_, _ = d.Token()
	return nil
}

// unknownField says which fields there are, and which was perhaps meant.
func unknownField(at, name string, m protoreflect.MessageDescriptor) error {
	var allowed []string
	for i := range m.Fields().Len() {
		allowed = append(allowed, string(m.Fields().Get(i).Name()))
	}
	where := name
	if at != "" {
		where = at + "." + name
	}
	mend := ""
	if near := specdata.Nearest(name, slices.Values(allowed)); near != "" {
		mend = fmt.Sprintf("; did you mean %s?", near)
	}
	return wrongField(where, "is not one this address takes; allowed there: %s%s", strings.Join(allowed, ", "), mend)
}

func wrongMember(d *json.Decoder, at string, f protoreflect.FieldDescriptor) error {
	if !f.IsList() {
		return wrongOne(d, at, f)
	}
	t, err := d.Token()
	if err != nil || t == nil {
		return nil
	}
	if t != json.Delim('[') {
		return wrongField(at, "is %s; allowed: a list", found(t))
	}
	for i := 0; d.More(); i++ {
		if err := wrongOne(d, fmt.Sprintf("%s[%d]", at, i), f); err != nil {
			return err
		}
	}
	_, _ = d.Token()
	return nil
}

func wrongOne(d *json.Decoder, at string, f protoreflect.FieldDescriptor) error {
	if f.Kind() == protoreflect.MessageKind {
		return wrongValue(d, at, f.Message())
	}
	t, err := d.Token()
	if err != nil || t == nil {
		return nil
	}
	text, isText := t.(string)
	number, isNumber := t.(json.Number)
	switch f.Kind() {
	case protoreflect.BoolKind:
		if _, ok := t.(bool); !ok {
			return wrongField(at, "is %s; allowed: true, false", found(t))
		}
	case protoreflect.StringKind:
		if !isText {
			return wrongField(at, "is %s; allowed: a text in quotes", found(t))
		}
	case protoreflect.BytesKind:
		if !isText {
			return wrongField(at, "is %s; allowed: bytes in base64, in quotes", found(t))
		}
	case protoreflect.Int32Kind, protoreflect.Int64Kind:
		if isNumber {
			text, isText = string(number), true
		}
		bits := 32
		if f.Kind() == protoreflect.Int64Kind {
			bits = 64
		}
		if _, err := ask.Whole(at, text, bits); !isText || err != nil || text == "" {
			return wrongField(at, "is %s; allowed: a whole number of %d bits", found(t), bits)
		}
	case protoreflect.DoubleKind:
		if !isNumber {
			return wrongField(at, "is %s; allowed: a number", found(t))
		}
	}
	if d, ok := t.(json.Delim); ok {
		return wrongField(at, "is %s; allowed: a single value", found(d))
	}
	return nil
}

// skip goes behind a value whose first token was read.
func skip(d *json.Decoder, first json.Token) error {
	depth := 0
	for t := first; ; {
		switch t {
		case json.Delim('{'), json.Delim('['):
			depth++
		case json.Delim('}'), json.Delim(']'):
			depth--
		}
		if depth == 0 {
			return nil
		}
		var err error
		if t, err = d.Token(); err != nil {
			return nil
		}
	}
}

func found(t json.Token) string {
	switch t := t.(type) {
	case json.Delim:
		if t == '[' {
			return "a list"
		}
		return "an object"
	case string:
		return fmt.Sprintf("the text %q", ask.Clip(t))
	case json.Number:
		return "the number " + ask.Clip(string(t))
	case bool:
		return fmt.Sprint(t)
	}
	return "null"
}

// twice returns the name of a member that some object of a JSON text has twice, "" where
// there is none.
func twice(body []byte) string {
	d := json.NewDecoder(bytes.NewReader(body))
	var seen []map[string]bool // of the objects that are open, nil for a list
	key := false
	for {
		t, err := d.Token()
		if err != nil {
			return ""
		}
		if name, ok := t.(string); ok && key {
			if seen[len(seen)-1][name] {
				return name
			}
			seen[len(seen)-1][name] = true
			key = false
			continue
		}
		switch t {
		case json.Delim('{'):
			seen = append(seen, map[string]bool{})
		case json.Delim('['):
			seen = append(seen, nil)
		case json.Delim('}'), json.Delim(']'):
			seen = seen[:len(seen)-1]
		}
		key = len(seen) > 0 && seen[len(seen)-1] != nil
	}
}
