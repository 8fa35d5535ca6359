package document

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"proofload/specdata"
	"proofload/specdata/document/scalar"
)

// width is the line length up to which an object or list stands on one line.
const width = 100

// Format writes a document, given as JSON in any form, as YAML for people: keys in
// the order of the record's fields, short things on one line, quotes only where they
// are needed. Reading it returns the same canonical form. The error names the first
// thing that keeps the document from being valid.
func Format(doc []byte) ([]byte, error) {
	r := &reader{file: ".json"}
	d := r.read(doc)
	if fs := r.sorted(); len(fs) > 0 {
		return nil, fmt.Errorf("document is refused by %s at %q: %s", fs[0].Rule, fs[0].Pointer, fs[0].Message)
	}
	f := formatter{}
	arrange(d.root, reflect.TypeOf(d.Record))
	f.members(d.root, 0)
	return f.out, nil
}

// Canonical returns the canonical form of a record. The error is that of a record
// that no document could hold.
func Canonical(rec specdata.Record) ([]byte, error) {
	b, err := json.Marshal(rec)
	if err != nil {
		return nil, fmt.Errorf("record %s cannot be written: %w", rec.Name(), err)
	}
	return Canonicalize(b)
}

// arrange puts the members of objects in the order of the fields of a type.
func arrange(n *node, t reflect.Type) {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	if n.kind == list {
		for _, v := range n.items {
			arrange(v, t)
		}
	}
	if n.kind != object {
		return
	}
	if t.Kind() != reflect.Struct { // the keys of a map keep the order of the alphabet
		return
	}
	order := orderOf(t)
	slices.SortStableFunc(n.members, func(a, b member) int { return order[a.key].place - order[b.key].place })
	for _, m := range n.members {
		arrange(m.value, order[m.key].typ)
	}
}

// ordered is where a field is in its struct, and its type.
type ordered struct {
	place int
	typ   reflect.Type
}

var orders sync.Map // reflect.Type to map[string]ordered

// orderOf returns the fields of a struct by their key.
func orderOf(t reflect.Type) map[string]ordered {
	if o, ok := orders.Load(t); ok {
		return o.(map[string]ordered)
	}
	o := map[string]ordered{}
	for i, f := range fieldsOf(t) {
		o[keyOf(f)] = ordered{i, f.Type}
	}
	orders.Store(t, o)
	return o
}

// fieldsOf lists the fields of a struct and of those it embeds, in order.
func fieldsOf(t reflect.Type) []reflect.StructField {
	var out []reflect.StructField
	for _, f := range reflect.VisibleFields(t) {
		if f.IsExported() && !f.Anonymous {
			out = append(out, f)
		}
	}
	return out
}

// keyOf returns the key of a field in documents.
func keyOf(f reflect.StructField) string {
	key, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return key
}

// formatter appends YAML.
type formatter struct{ out []byte }

// members writes an object in block form; the cursor is at the indentation already.
func (f *formatter) members(n *node, indent int) {
	for i, m := range n.members {
		if i > 0 {
			f.line(indent)
		}
		f.out = append(f.out, oneScalar(m.key, false)...)
		f.out = append(f.out, ':')
		f.value(m.value, indent)
	}
	if indent == 0 {
		f.out = append(f.out, '\n')
	}
}

func (f *formatter) line(indent int) {
	f.out = append(f.out, '\n')
	for range indent {
		f.out = append(f.out, ' ')
	}
}

// value writes what is behind a key: on its line where it fits, else below.
func (f *formatter) value(n *node, indent int) {
	if n.kind == text {
		if block := literal(n.text, indent+2); block != "" {
			f.out = append(append(f.out, ' '), block...)
			return
		}
	}
	if n.kind == text {
		f.out = append(append(f.out, ' '), oneScalar(n.text, false)...)
		return
	}
	column := len(f.out) - bytes.LastIndexByte(f.out, '\n') - 1
	if s, ok := n.flow(); ok && (n.kind < list || !n.holdsObjects() && column+1+utf8.RuneCountInString(s) <= width) {
		f.out = append(append(f.out, ' '), s...)
		return
	}
	f.line(indent + 2)
	if n.kind == object {
		f.members(n, indent+2)
		return
	}
	for i, v := range n.items {
		if i > 0 {
			f.line(indent + 2)
		}
		f.out = append(f.out, "- "...)
		f.item(v, indent+4)
	}
}

// item writes an entry of a list behind its dash.
func (f *formatter) item(n *node, indent int) {
	s, ok := n.flow()
	switch {
	case n.kind == text:
		f.out = append(f.out, oneScalar(n.text, false)...)
	case n.kind < list, ok && indent+utf8.RuneCountInString(s) <= width && !n.holdsObjects():
		f.out = append(f.out, s...)
	case n.kind == object:
		f.members(n, indent)
	default: // records hold no lists of lists
		f.out = append(f.out, s...)
	}
}

// holdsObjects reports whether a list of objects lies below, which reads better in lines.
func (n *node) holdsObjects() bool {
	for _, v := range n.items {
		if v.kind == object {
			return true
		}
	}
	for _, m := range n.members {
		if m.value.holdsObjects() {
			return true
		}
	}
	return false
}

// flow returns a value on one line; ok is false where that is not possible.
func (n *node) flow() (s string, ok bool) {
	switch n.kind {
	case text:
		return oneScalar(n.text, true), true
	case list:
		parts := make([]string, len(n.items))
		for i, v := range n.items {
			if parts[i], ok = v.flow(); !ok {
				return "", false
			}
		}
		return "[" + strings.Join(parts, ", ") + "]", true
	case object:
		parts := make([]string, len(n.members))
		for i, m := range n.members {
			if s, ok = m.value.flow(); !ok || m.value.kind == text && strings.Contains(m.value.text, "\n") {
				return "", false
			}
			parts[i] = oneScalar(m.key, true) + ": " + s
		}
		return "{" + strings.Join(parts, ", ") + "}", true
	case number:
		b, err := scalar.AppendNumber(nil, n.text)
		return string(b), err == nil
	}
	return n.text, true
}

// oneScalar returns text as a scalar, in quotes where it needs them.
func oneScalar(s string, flow bool) string {
	if isPlain(s, flow) {
		return s
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case unicode.IsPrint(r):
			b.WriteRune(r)
		case r <= math.MaxUint16:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			fmt.Fprintf(&b, `\U%08X`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}

// isPlain reports whether text may stand without quotes: it is read back as itself,
// by us and by other YAML readers.
func isPlain(s string, flow bool) bool {
	first, _ := utf8.DecodeRuneInString(s)
	if !unicode.IsLetter(first) && !unicode.IsDigit(first) && first != '/' && first != '(' || scalar.Meaning(s) != text {
		return false
	}
	if strings.HasSuffix(s, ":") || strings.HasSuffix(s, " ") || strings.Contains(s, ": ") || strings.Contains(s, " #") {
		return false
	}
	if flow && (strings.ContainsAny(s, ",[]{}?") || colonBeforeMark(s)) {
		return false
	}
	return strings.IndexFunc(s, func(r rune) bool { return !unicode.IsPrint(r) }) < 0
}

// colonBeforeMark reports a colon that some readers take for the end of a key in flow form.
func colonBeforeMark(s string) bool {
	for i := 0; i+1 < len(s); i++ {
		if c := s[i+1]; s[i] == ':' && !('a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9') {
			return true
		}
	}
	return false
}

// literal returns text of several lines as a block, "" where it cannot stand as one.
func literal(s string, indent int) string {
	body := strings.TrimRight(s, "\n")
	if !strings.Contains(body, "\n") || body[0] == ' ' || body[0] == '\n' || strings.IndexFunc(body, func(r rune) bool { return r != '\n' && !unicode.IsPrint(r) }) >= 0 {
		return ""
	}
	head := "|"
	switch len(s) - len(body) {
	case 0:
		head = "|-"
	case 1:
	default:
		head = "|+"
	}
	pad := strings.Repeat(" ", indent)
	var b strings.Builder
	b.WriteString(head)
	for _, line := range strings.Split(body, "\n") {
		b.WriteByte('\n')
		if line != "" {
			b.WriteString(pad + line)
		}
	}
	b.WriteString(strings.Repeat("\n", max(0, len(s)-len(body)-1)))
	return b.String()
}
