package schema

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"proofload/specdata"
)

// unitsOf lists the units of a quantity's schema, nil if it is none.
func unitsOf(schema map[string]any) []string {
	var out []string
	for _, d := range words(schema["x-dimensions"]) {
		out = append(out, specdata.UnitsOf(specdata.Dimension(d))...)
	}
	return out
}

func like(schema map[string]any) string {
	if ex := examples(schema); ex != "" {
		return "; write it like " + ex
	}
	return ""
}

func examples(schema map[string]any) string {
	var out []string
	for _, e := range list(schema["examples"]) {
		if len(out) < 3 {
			out = append(out, example(e))
		}
	}
	return strings.Join(out, " or ")
}

// example writes a value as an editor may type it: text in quotes, lists in brackets,
// objects in braces with bare keys.
func example(v any) string {
	var parts []string
	switch v := v.(type) {
	case map[string]any:
		for _, k := range slices.Sorted(maps.Keys(v)) {
			parts = append(parts, k+": "+example(v[k]))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	case []any:
		for _, e := range v {
			parts = append(parts, example(e))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	b, err := json.Marshal(v)
	if err != nil {
		return show(v)
	}
	return string(b)
}

// between words the bounds of a schema ("1 to 64", "at least 1", "at most 120").
func between(schema map[string]any, low, high string) string {
	lo, okLow := schema[low].(float64)
	hi, okHigh := schema[high].(float64)
	switch {
	case okLow && okHigh:
		return fmt.Sprintf("%v to %v", lo, hi)
	case okLow:
		return fmt.Sprintf("at least %v", lo)
	case okHigh:
		return fmt.Sprintf("at most %v", hi)
	}
	return "any"
}

// alternatives lists the keys that a oneOf chooses between.
func alternatives(schema map[string]any) []string {
	var keys []string
	for _, branch := range list(schema["oneOf"]) {
		m, _ := branch.(map[string]any)
		keys = append(keys, words(m["required"])...)
	}
	return keys
}

func twice(found any) string {
	seen := map[string]bool{}
	for _, v := range list(found) {
		s := show(v)
		if seen[s] {
			return strconv.Quote(specdata.Shorten(s))
		}
		seen[s] = true
	}
	return "an entry"
}

func list(v any) []any {
	l, _ := v.([]any)
	return l
}

func object(v any) map[string]any {
	m, _ := v.(map[string]any)
	return m
}

// words returns a list of strings of a schema.
func words(v any) []string {
	var out []string
	for _, w := range list(v) {
		if s, ok := w.(string); ok {
			out = append(out, s)
		}
	}
	return out
}

// show returns a plain value as it is, "" for objects, lists and nothing.
func show(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	case bool:
		return strconv.FormatBool(v)
	}
	return ""
}

// describe names a value in a sentence.
func describe(v any) string {
	switch v := v.(type) {
	case nil:
		return "without a value"
	case string:
		return strconv.Quote(specdata.Shorten(v))
	case json.Number:
		return "the number " + specdata.Shorten(v.String())
	case []any:
		return "a list"
	case map[string]any:
		return "an object"
	}
	return show(v)
}

// lower puts a description behind a semicolon.
func lower(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if len(s) > n && (s[n] == ' ' || s[n] >= 'a' && s[n] <= 'z') {
		s = strings.ToLower(string(r)) + s[n:]
	}
	return strings.TrimSuffix(s, ".")
}
