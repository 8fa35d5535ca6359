package document

import (
	"encoding/json"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/document/scalar"
)

// kind is the JSON type of a node.
type kind = scalar.Kind

const (
	null    = scalar.Null
	boolean = scalar.Boolean
	number  = scalar.Number
	text    = scalar.Text
	list    = scalar.List
	object  = scalar.Object
)

// node is one value of a document with its place in the file. YAML and JSON are
// both read into nodes, so that everything after reading has one form to know.
type node struct {
	kind kind
	// text is the string, the number literal, or "true" and "false".
	text    string
	members []member
	items   []*node
	// line and column count from 1; column in code points.
	line, column int32
}

type member struct {
	key          string
	line, column int32
	value        *node
}

// child returns the value under one reference token of a JSON pointer, and the key's
// place where it has one.
func (n *node) child(token string) (v *node, m *member) {
	switch n.kind {
	case object:
		for i := range n.members {
			if n.members[i].key == token {
				return n.members[i].value, &n.members[i]
			}
		}
	case list:
		if i, err := strconv.Atoi(token); err == nil && i >= 0 && i < len(n.items) && strconv.Itoa(i) == token {
			return n.items[i], nil
		}
	}
	return nil, nil
}

// yearAsWritten takes a number of four digits under a key for the text it was written as:
// the year that a document was issued is no quantity, and has one reading.
func (n *node) yearAsWritten(key string) {
	if v, _ := n.child(key); v != nil && v.kind == number && len(v.text) == len("2016") && strings.Trim(v.text, "0123456789") == "" {
		v.kind = text
	}
}

// locate returns the place of a pointer. A plain value is where it is; an object
// or list is where its key stands, since in YAML it begins a line later; a pointer
// to what is absent is at the nearest thing that is there.
func (n *node) locate(pointer string) (line, column int32) {
	line, column = n.line, n.column
	for token := range tokens(pointer) {
		v, m := n.child(token)
		if v == nil {
			return line, column
		}
		n = v
		line, column = v.line, v.column
		if m != nil && v.kind >= list {
			line, column = m.line, m.column
		}
	}
	return line, column
}

// locateKey returns the place of the key that a pointer ends in, or of the value where there is no key.
func (n *node) locateKey(pointer string) (line, column int32) {
	line, column = n.locate(pointer)
	for token := range tokens(pointer) {
		v, m := n.child(token)
		if v == nil {
			return line, column
		}
		if n = v; m != nil {
			line, column = m.line, m.column
		}
	}
	return line, column
}

// any returns the value as encoding/json does with UseNumber.
func (n *node) any() any {
	switch n.kind {
	case boolean:
		return n.text == "true"
	case number:
		return json.Number(n.text)
	case text:
		return n.text
	case list:
		out := make([]any, len(n.items))
		for i, v := range n.items {
			out[i] = v.any()
		}
		return out
	case object:
		out := make(map[string]any, len(n.members))
		for _, m := range n.members {
			out[m.key] = m.value.any()
		}
		return out
	}
	return nil
}

// tokens returns the reference tokens of a JSON pointer, unescaped (RFC 6901).
func tokens(pointer string) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for pointer != "" {
			var token string
			token, pointer, _ = strings.Cut(pointer[1:], "/")
			if pointer != "" {
				pointer = "/" + pointer
			}
			if strings.IndexByte(token, '~') >= 0 {
				token = strings.ReplaceAll(strings.ReplaceAll(token, "~1", "/"), "~0", "~")
			}
			if !yield(token) {
				return
			}
		}
	}
}

// trail is the way to the node being read, kept as links so that a pointer is built
// only when there is something to say.
type trail struct {
	up    *trail
	key   string
	index int // -1 for a key
}

func (p *trail) pointer() string {
	var parts []string
	for ; p != nil; p = p.up {
		if p.index >= 0 {
			parts = append(parts, strconv.Itoa(p.index))
		} else {
			parts = append(parts, specdata.EscapePointer(p.key))
		}
	}
	var b strings.Builder
	for i := len(parts) - 1; i >= 0; i-- {
		b.WriteByte('/')
		b.WriteString(parts[i])
	}
	return b.String()
}
