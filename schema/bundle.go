package schema

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"proofload/specdata"
)

// Kinds lists what has a schema of its own, in the order of the kinds.
func Kinds() []specdata.Kind { return append([]specdata.Kind{Library}, specdata.Kinds...) }

// Bundle returns the schema of a kind or of Library as one file that refers to nothing
// outside it and names no address, so that an editor resolves it from wherever it lies.
// The keywords that only this program knows are left out. The error is for a kind that
// does not exist.
func Bundle(k specdata.Kind) ([]byte, error) {
	s, err := compiled()
	if err != nil {
		return nil, err
	}
	raw, ok := s.raw[ID(k)].(map[string]any)
	if !ok || k == Common {
		return nil, fmt.Errorf("kind %q has no schema; those that have: %v", k, Kinds())
	}
	out := bundled(raw).(map[string]any)
	delete(out, "$id")
	defs := maps.Clone(object(out["$defs"]))
	if defs == nil {
		defs = map[string]any{}
	}
	common := object(bundled(object(s.raw[ID(Common)])["$defs"]))
	for _, name := range slices.Sorted(maps.Keys(common)) {
		if _, taken := defs[name]; taken {
			return nil, fmt.Errorf("schema of %s defines %s, as %s does; rename one", k, name, Common)
		}
		defs[name] = common[name]
	}
	// A year without quotes is a number to YAML, and read as it is written.
	if issued := object(defs["issue_date"]); issued != nil {
		issued["type"] = []string{"string", "integer"}
		issued["minimum"], issued["maximum"] = 1000, 9999
	}
	out["$defs"] = defs
	b, err := json.MarshalIndent(out, "", "  ")
	return append(b, '\n'), err
}

// bundled copies a schema with references into the same file.
func bundled(v any) any {
	switch v := v.(type) {
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = bundled(v[i])
		}
		return out
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, w := range v {
			if strings.HasPrefix(k, "x-") {
				continue
			}
			if ref, ok := w.(string); ok && k == "$ref" {
				_, fragment, _ := strings.Cut(ref, "#")
				w = "#" + fragment
			}
			out[k] = bundled(w)
		}
		return out
	}
	return v
}

// Field is what an editor learns of one member of a record.
type Field struct {
	// Description is a sentence or more; Examples are as an editor may type them.
	Description string
	Examples    []string
	// Allowed lists the words that may stand there, nil where they are not listed.
	Allowed []string
}

// FieldAt returns the member at a way of keys from the top of a kind, where "-" is any
// element of a list; ok is false where the form has none.
func FieldAt(k specdata.Kind, way ...string) (f Field, ok bool) {
	s, err := compiled()
	if err != nil {
		return Field{}, false
	}
	here, doc := object(s.raw[ID(k)]), ID(k)
	for _, key := range way {
		var next any
		if key == "-" {
			next = here["items"]
		} else {
			next = object(here["properties"])[key]
		}
		if next == nil {
			return Field{}, false
		}
		if ref, _ := object(next)["$ref"].(string); strings.HasPrefix(ref, "../common") {
			here, doc = s.resolve(doc, next), ID(Common)
		} else {
			here = s.resolve(doc, next)
		}
	}
	f.Description, _ = here["description"].(string)
	f.Allowed = words(here["enum"])
	for _, e := range list(here["examples"]) {
		f.Examples = append(f.Examples, example(e))
	}
	return f, true
}
