// Package change says what differs between two states of a record: field by field,
// and for a fastener by how far and which way its values moved.
package change

import (
	"encoding/json"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
)

// Field is one field that differs between two documents.
type Field struct {
	// Pointer is the RFC 6901 pointer of the field, "" where a whole document came or went.
	Pointer string `json:"pointer"`
	// Old and New are the values: strings as they are, anything else as JSON, "" where there is none.
	Old string `json:"old,omitempty"`
	New string `json:"new,omitempty"`
}

// Fields lists the fields that differ between two JSON documents, the deepest
// first difference of each, in order of pointer. A document that is not there is
// nil. Lists of one length are compared element by element; a list that grew or
// shrank is one field. The error says which document is not JSON.
func Fields(old, new []byte) ([]Field, error) {
	o, err := read("old", old)
	if err != nil {
		return nil, err
	}
	n, err := read("new", new)
	if err != nil {
		return nil, err
	}
	var out []Field
	differ("", o, n, &out)
	return out, nil
}

// absent stands for a member that is not there, which JSON null is not.
type absent struct{}

func read(which string, doc []byte) (any, error) {
	if doc == nil {
		return absent{}, nil
	}
	var v any
	if err := json.Unmarshal(doc, &v); err != nil {
		return nil, fmt.Errorf("%s document is not JSON: %w", which, err)
	}
	return v, nil
}

func differ(at string, o, n any, out *[]Field) {
	if reflect.DeepEqual(o, n) {
		return
	}
	oo, okO := o.(map[string]any)
	no, okN := n.(map[string]any)
	if okO && okN {
		keys := slices.AppendSeq(slices.Collect(maps.Keys(oo)), maps.Keys(no))
		slices.Sort(keys)
		for _, k := range slices.Compact(keys) {
			differ(at+"/"+specdata.EscapePointer(k), member(oo, k), member(no, k), out)
		}
		return
	}
	ol, okO := o.([]any)
	nl, okN := n.([]any)
	if okO && okN && len(ol) == len(nl) {
		for i := range ol {
			differ(at+"/"+strconv.Itoa(i), ol[i], nl[i], out)
		}
		return
	}
	*out = append(*out, Field{at, plain(o), plain(n)})
}

func member(m map[string]any, k string) any {
	if v, ok := m[k]; ok {
		return v
	}
	return absent{}
}

func plain(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case absent:
		return ""
	}
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return fmt.Sprint(v)
	}
	return strings.TrimSpace(b.String())
}
