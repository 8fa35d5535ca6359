// Package schematest makes random documents for tests: valid ones from the schemas
// themselves, and near misses from those.
package schematest

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"

	"pgregory.net/rapid"

	"proofload/schema"
	"proofload/specdata"
)

// Document draws a document that is valid for a kind.
func Document(t *rapid.T, k specdata.Kind) map[string]any {
	g := load()
	return g.value(t, schema.ID(k), g.raw[schema.ID(k)], "").(map[string]any)
}

// Mutate draws a document that differs from a given one in one to three places and
// is often, but not always, invalid.
func Mutate(t *rapid.T, doc map[string]any) map[string]any {
	out := clone(doc).(map[string]any)
	for range rapid.IntRange(1, 3).Draw(t, "mutations") {
		mutate(t, out)
	}
	return out
}

type generator struct {
	raw map[string]any
	// texts holds the generators of patterns, which are costly to make.
	texts sync.Map
}

var load = sync.OnceValue(func() *generator {
	g := &generator{raw: map[string]any{}}
	for _, k := range append([]specdata.Kind{schema.Common}, specdata.Kinds...) {
		var v any
		if err := json.Unmarshal(schema.Raw(k), &v); err != nil {
			panic(err)
		}
		g.raw[schema.ID(k)] = v
	}
	return g
})

func (g *generator) value(t *rapid.T, base string, s any, key string) any {
	m := s.(map[string]any)
	if ref, ok := m["$ref"].(string); ok {
		address, fragment, _ := strings.Cut(ref, "#/")
		if address != "" {
			base = schema.ID(schema.Common)
		}
		v := g.raw[base]
		for _, part := range strings.Split(fragment, "/") {
			v = v.(map[string]any)[part]
		}
		return g.value(t, base, v, key)
	}
	if c, ok := m["const"]; ok {
		return c
	}
	if e, ok := m["enum"].([]any); ok {
		return rapid.SampledFrom(e).Draw(t, key)
	}
	switch m["type"] {
	case "integer":
		return json.Number(strconv.Itoa(rapid.IntRange(int(m["minimum"].(float64)), int(m["maximum"].(float64))).Draw(t, key)))
	case "array":
		return g.list(t, base, m, key)
	case "object":
		return g.object(t, base, m, key)
	case "string":
		return g.text(t, m, key)
	}
	panic(fmt.Sprintf("schema of %s has no type this generator knows", key))
}

func (g *generator) list(t *rapid.T, base string, m map[string]any, key string) any {
	n := rapid.IntRange(int(m["minItems"].(float64)), min(3, int(m["maxItems"].(float64)))).Draw(t, key+" length")
	out := []any{}
	for range n {
		v := g.value(t, base, m["items"], key)
		if m["uniqueItems"] != true || !slices.Contains(out, v) {
			out = append(out, v)
		}
	}
	return out
}

func (g *generator) text(t *rapid.T, m map[string]any, key string) any {
	if m["format"] == "date" {
		return fmt.Sprintf("%04d-%02d-%02d", rapid.IntRange(1990, 2099).Draw(t, key), rapid.IntRange(1, 12).Draw(t, key), rapid.IntRange(1, 28).Draw(t, key))
	}
	most := 100_000
	if n, ok := m["maxLength"].(float64); ok {
		most = int(n)
	}
	pattern, ok := m["pattern"].(string)
	if !ok {
		pattern = ".*"
	}
	texts, ok := g.texts.Load(pattern)
	if !ok {
		texts, _ = g.texts.LoadOrStore(pattern, rapid.StringMatching(pattern))
	}
	return texts.(*rapid.Generator[string]).Filter(func(s string) bool {
		_, _, unseen := specdata.Unseen(s) // the reader refuses those before it asks a schema
		return len([]rune(s)) <= most && !unseen
	}).Draw(t, key)
}

func (g *generator) object(t *rapid.T, base string, m map[string]any, key string) any {
	out := map[string]any{}
	properties, _ := m["properties"].(map[string]any)
	required := strings.Join(words(m["required"]), " ") + " "
	only := ""
	if alternatives, ok := m["oneOf"].([]any); ok {
		only = words(rapid.SampledFrom(alternatives).Draw(t, key+" one").(map[string]any)["required"])[0]
		for _, a := range alternatives {
			if k := words(a.(map[string]any)["required"])[0]; k != only {
				out[k] = nil // marks a key to be left out
			}
		}
	}
	for _, k := range slices.Sorted(maps.Keys(properties)) {
		if _, skip := out[k]; skip {
			continue
		}
		if k == only || strings.Contains(" "+required, " "+k+" ") || rapid.Bool().Draw(t, k+"?") {
			out[k] = g.value(t, base, properties[k], k)
		}
	}
	maps.DeleteFunc(out, func(_ string, v any) bool { return v == nil })
	if names, ok := m["propertyNames"].(map[string]any); ok {
		for range rapid.IntRange(1, 3).Draw(t, key+" keys") {
			out[g.text(t, names, key).(string)] = g.value(t, base, m["additionalProperties"], key)
		}
	}
	g.conditions(t, base, m, out, properties)
	for k, needs := range object(m["dependentRequired"]) {
		for _, n := range words(needs) {
			if _, ok := out[n]; !ok {
				delete(out, k)
			}
		}
	}
	if least, ok := m["minProperties"].(float64); ok && len(out) < int(least) {
		k := slices.Sorted(maps.Keys(properties))[0]
		out[k] = g.value(t, base, properties[k], k)
	}
	return out
}

// conditions brings an object into line with the ifs of its schema.
func (g *generator) conditions(t *rapid.T, base string, m, out, properties map[string]any) {
	all, _ := m["allOf"].([]any)
	for _, a := range all {
		cond := a.(map[string]any)
		branch := object(cond["then"])
		for k, want := range object(object(cond["if"])["properties"]) {
			if out[k] != object(want)["const"] {
				branch = object(cond["else"])
			}
		}
		for _, k := range words(branch["required"]) {
			if _, ok := out[k]; !ok {
				out[k] = g.value(t, base, properties[k], k)
			}
		}
		for k, v := range object(branch["properties"]) {
			if v == false {
				delete(out, k)
			}
		}
	}
}

// mutate changes one place below an object.
func mutate(t *rapid.T, m map[string]any) {
	keys := slices.Sorted(maps.Keys(m))
	if len(keys) == 0 {
		m["extra"] = "x"
		return
	}
	k := rapid.SampledFrom(keys).Draw(t, "key")
	switch v := m[k].(type) {
	case map[string]any:
		if rapid.IntRange(0, 3).Draw(t, "deeper") > 0 {
			mutate(t, v)
			return
		}
	case []any:
		if len(v) > 0 {
			i := rapid.IntRange(0, len(v)-1).Draw(t, "index")
			if o, ok := v[i].(map[string]any); ok && rapid.IntRange(0, 3).Draw(t, "deeper") > 0 {
				mutate(t, o)
				return
			}
			if rapid.Bool().Draw(t, "twice") {
				m[k] = append(v, v[i])
			} else {
				v[i] = other(t, v[i])
			}
			return
		}
	}
	switch rapid.IntRange(0, 3).Draw(t, "how") {
	case 0:
		delete(m, k)
	case 1:
		m[rapid.SampledFrom([]string{k + "s", "x", "torque", "also", "measure", "limit", "times", "wait", "part", "a b", "rule!"}).Draw(t, "new key")] = clone(m[k])
	default:
		m[k] = other(t, m[k])
	}
}

// other draws a value that a slip of the hand might put in place of v.
func other(t *rapid.T, v any) any {
	if s, ok := v.(string); ok && s != "" && rapid.Bool().Draw(t, "edit") {
		rs := []rune(s)
		i := rapid.IntRange(0, len(rs)-1).Draw(t, "at")
		rs[i] = rapid.SampledFrom([]rune("0123456789-./ xX_:é\u202e\n\"\\\t")).Draw(t, "letter")
		return string(rs)
	}
	return rapid.SampledFrom([]any{
		nil, true, false, "", "x", "240", "240 N.m", "1/4 turn", "90 deg", "30 mm", "10 %", "-1 N.m", "2019-02-30", "2020-02-29", "front", "each",
		json.Number("0"), json.Number("1"), json.Number("65"), json.Number("-1"), json.Number("1.5"), json.Number("9007199254740991"),
		[]any{}, map[string]any{}, []any{"x"}, map[string]any{"x": "y"}, []any{json.Number("1")}, strings.Repeat("a", 81), strings.Repeat("é", 121),
	}).Draw(t, "value")
}

func clone(v any) any {
	switch v := v.(type) {
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, e := range v {
			out[k] = clone(e)
		}
		return out
	case []any:
		out := make([]any, len(v))
		for i, e := range v {
			out[i] = clone(e)
		}
		return out
	}
	return v
}

func object(v any) map[string]any {
	m, _ := v.(map[string]any)
	return m
}

func words(v any) []string {
	var out []string
	list, _ := v.([]any)
	for _, w := range list {
		out = append(out, w.(string))
	}
	return out
}
