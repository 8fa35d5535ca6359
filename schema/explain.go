package schema

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"proofload/specdata"
)

// Violation is one thing that keeps a document from being valid.
type Violation struct {
	// Pointer is the JSON pointer of the value; of the key where a key is missing or unknown.
	Pointer string
	// Value is what stands there, "" for nothing, objects and lists.
	Value string
	// Message says what was found, what is allowed and how to mend it.
	Message string
	// Allowed lists the values, units or keys that may stand there, where they can be listed.
	Allowed []string
	// Key says that the key is wrong rather than the value.
	Key bool
	// Physical says that a number with a unit is wanted there.
	Physical bool
	// Holds says that an object or a list is wanted there.
	Holds bool
	// Empty says that the key stands without a value, Optional that it may be left out.
	Empty, Optional bool
}

// MaxViolations is how many violations are explained; a document with more has one
// cause, and explaining costs more than finding.
const MaxViolations = 100

// leaf is an error of the validator that has no cause below it.
type leaf struct {
	pointer, keyword string
	// schema is the raw schema that the keyword stands in, place the way to the keyword.
	schema map[string]any
	place  []string
	doc    string   // address of the schema's text
	text   string   // the validator's own words
	way    []string // through all references, from the schema of the kind
}

func (s *set) violations(doc any, err error) ([]Violation, error) {
	if err == nil {
		return nil, nil
	}
	var ve *jsonschema.ValidationError
	if !errors.As(err, &ve) {
		return nil, err
	}
	var leaves []leaf
	s.collect(ve, &leaves)
	root, _, _ := strings.Cut(ve.AbsoluteKeywordLocation, "#")
	slices.SortStableFunc(leaves, func(a, b leaf) int {
		return cmp.Or(comparePointers(a.pointer, b.pointer), cmp.Compare(rank(a.keyword), rank(b.keyword)), cmp.Compare(a.text, b.text))
	})
	// One word a value: of a text that is too long and of the wrong form, one is said.
	leaves = slices.CompactFunc(leaves, func(a, b leaf) bool {
		return a.pointer == b.pointer && rank(a.keyword) <= rank("propertyNames") && rank(b.keyword) <= rank("propertyNames")
	})
	var out []Violation
	for _, l := range leaves {
		if out = append(out, s.explain(l, root, doc)...); len(out) >= MaxViolations {
			out = out[:MaxViolations]
			break
		}
	}
	s.empty(out, root, doc)
	return out, nil
}

// empty says of each key without a value whether it may be left out, which the schema
// answers for the document without any of them.
func (s *set) empty(out []Violation, root string, doc any) {
	if !slices.ContainsFunc(out, func(v Violation) bool { return v.Empty }) {
		return
	}
	wanted := map[string]bool{}
	for k, sch := range s.schemas {
		if ID(k) != root {
			continue
		}
		filled := withoutNull(doc)
		var ve *jsonschema.ValidationError
		if err := guard(func() error { return sch.Validate(filled) }); !errors.As(err, &ve) {
			continue
		}
		var leaves []leaf
		s.collect(ve, &leaves)
		for _, l := range leaves {
			if l.keyword != "required" {
				continue
			}
			for _, key := range words(l.schema["required"]) {
				wanted[l.pointer+"/"+specdata.EscapePointer(key)] = true
			}
		}
	}
	for i := range out {
		v := &out[i]
		if _, ok := find(doc, split(v.Pointer)[:max(0, len(split(v.Pointer))-1)]).(map[string]any); !v.Empty || !ok || wanted[v.Pointer] {
			continue
		}
		v.Optional = true
		v.Message += "; or leave the key out, if there is none"
	}
}

// withoutNull copies a document without the keys that have no value.
func withoutNull(v any) any {
	switch v := v.(type) {
	case []any:
		out := make([]any, len(v))
		for i := range v {
			out[i] = withoutNull(v[i])
		}
		return out
	case map[string]any:
		out := make(map[string]any, len(v))
		for k, w := range v {
			if w != nil {
				out[k] = withoutNull(w)
			}
		}
		return out
	}
	return v
}

// order is the keywords from the most telling to the least; those up to
// propertyNames speak about one value, the others about its members.
var order = []string{"", "type", "const", "enum", "maxLength", "minLength", "pattern", "format", "minimum", "maximum", "propertyNames",
	"minItems", "maxItems", "uniqueItems", "minProperties", "maxProperties", "oneOf", "required", "dependentRequired", "additionalProperties"}

func rank(keyword string) int {
	if i := slices.Index(order, keyword); i >= 0 {
		return i
	}
	return len(order)
}

// comparePointers orders list elements by number.
func comparePointers(a, b string) int {
	for a != "" && b != "" {
		var x, y string
		x, a, _ = strings.Cut(strings.TrimPrefix(a, "/"), "/")
		y, b, _ = strings.Cut(strings.TrimPrefix(b, "/"), "/")
		m, errX := strconv.Atoi(x)
		n, errY := strconv.Atoi(y)
		c := cmp.Compare(x, y)
		if errX == nil && errY == nil {
			c = cmp.Compare(m, n)
		}
		if c != 0 {
			return c
		}
	}
	return cmp.Compare(len(a), len(b))
}

// collect follows the errors down to those that say something. Of a oneOf it takes
// the oneOf itself: ours only ever choose between keys.
func (s *set) collect(e *jsonschema.ValidationError, out *[]leaf) {
	doc, fragment, _ := strings.Cut(e.AbsoluteKeywordLocation, "#")
	place := split(fragment)
	last := ""
	if len(place) > 0 {
		last = place[len(place)-1]
	}
	if len(e.Causes) > 0 && last != "oneOf" {
		for _, c := range e.Causes {
			s.collect(c, out)
		}
		return
	}
	l := leaf{pointer: join(split(e.InstanceLocation)), keyword: last, doc: doc, place: place, text: e.Message, way: split(e.KeywordLocation)}
	if i := slices.Index(place, "dependentRequired"); i >= 0 {
		l.keyword, l.place = "dependentRequired", place[:i+1]
	}
	if last != "additionalProperties" && s.at(doc, place) == false {
		l.keyword = ""
	} else if len(l.place) > 0 {
		l.schema, _ = s.at(doc, l.place[:len(l.place)-1]).(map[string]any)
	}
	*out = append(*out, l)
}

// split returns the tokens of a pointer as the validator writes it, percent-escaped.
func split(pointer string) []string {
	if pointer == "" {
		return nil
	}
	tokens := strings.Split(pointer[1:], "/")
	for i, t := range tokens {
		if u, err := url.PathUnescape(t); err == nil {
			t = u
		}
		tokens[i] = strings.ReplaceAll(strings.ReplaceAll(t, "~1", "/"), "~0", "~")
	}
	return tokens
}

func join(tokens []string) string {
	var b strings.Builder
	for _, t := range tokens {
		b.WriteString("/" + specdata.EscapePointer(t))
	}
	return b.String()
}

// at returns the part of a schema's text at a place.
func (s *set) at(doc string, place []string) any { return find(s.raw[doc], place) }

func find(v any, place []string) any {
	for _, t := range place {
		switch w := v.(type) {
		case map[string]any:
			v = w[t]
		case []any:
			i, err := strconv.Atoi(t)
			if err != nil || i < 0 || i >= len(w) {
				return nil
			}
			v = w[i]
		default:
			return nil
		}
	}
	return v
}

// resolve follows the reference of a property to the schema that says what it is,
// and keeps the nearer description.
func (s *set) resolve(doc string, v any) map[string]any {
	m, _ := v.(map[string]any)
	ref, ok := m["$ref"].(string)
	if !ok {
		return m
	}
	address, fragment, _ := strings.Cut(ref, "#")
	if address != "" {
		doc = ID(Common)
	}
	target := s.resolve(doc, s.at(doc, split(fragment)))
	// What stands beside the reference is nearer to the field than what it refers to.
	for _, nearer := range []string{"description", "examples"} {
		if d, ok := m[nearer]; ok {
			target = maps.Clone(target)
			target[nearer] = d
		}
	}
	return target
}

// nearest adds to a schema what the field that refers to it says of itself: the title
// of a make is a title, and its example is a make.
func (s *set) nearest(l leaf, root string) map[string]any {
	var field map[string]any // refers to the schema, maybe over others
	doc, here := root, s.raw[root]
	for _, t := range l.way[:max(0, len(l.way)-1)] {
		m, _ := here.(map[string]any)
		if t != "$ref" {
			here, field = find(here, []string{t}), nil
			continue
		}
		if field == nil {
			field = m
		}
		ref, _ := m["$ref"].(string)
		address, fragment, _ := strings.Cut(ref, "#")
		if address != "" {
			doc = ID(Common)
		}
		here = s.at(doc, split(fragment))
	}
	if field == nil || l.schema == nil {
		return l.schema
	}
	out := maps.Clone(l.schema)
	for _, nearer := range []string{"description", "examples"} {
		if v, ok := field[nearer]; ok {
			out[nearer] = v
		}
	}
	return out
}

// explain puts one error into words.
func (s *set) explain(l leaf, root string, doc any) []Violation {
	switch l.keyword {
	case "type", "pattern", "format":
		l.schema = s.nearest(l, root)
	}
	tokens := split(l.pointer)
	found := find(doc, tokens)
	v := Violation{Pointer: l.pointer, Key: slices.Contains(l.place, "propertyNames"), Physical: l.schema["x-dimensions"] != nil}
	if v.Key {
		found = tokens[len(tokens)-1]
	}
	v.Value, v.Empty = show(found), found == nil && !v.Key
	name := s.name(l)
	switch l.keyword {
	case "":
		v.Message = s.misplaced(l, doc)
	case "type":
		v.Message, v.Holds = wrongType(name, l.schema, found), l.schema["type"] == "object" || l.schema["type"] == "array"
	case "const":
		if l.schema["const"] == true {
			v.Message = fmt.Sprintf("%s is %s; allowed: true; where it is not so, leave the key out", name, describe(found))
		} else {
			v.Message = fmt.Sprintf("%s is %s; allowed: %v", name, describe(found), l.schema["const"])
		}
	case "enum":
		v.Allowed = words(l.schema["enum"])
		v.Message = fmt.Sprintf("%s is %s; allowed: %s%s", name, describe(found), strings.Join(v.Allowed, ", "), specdata.DidYouMean(show(found), slices.Values(v.Allowed)))
	case "pattern", "format":
		v.Message, v.Allowed = wrongForm(name, l.schema, show(found))
	case "minLength", "maxLength":
		v.Message = fmt.Sprintf("%s has %d characters; allowed: %s; shorten it", name, utf8.RuneCountInString(show(found)), between(l.schema, "minLength", "maxLength"))
	case "minimum", "maximum":
		v.Message = fmt.Sprintf("%s is %s; allowed: %s", name, show(found), between(l.schema, "minimum", "maximum"))
	case "minItems", "maxItems":
		n := len(list(found))
		v.Message = fmt.Sprintf("%s has %d entries; allowed: %s", name, n, between(l.schema, "minItems", "maxItems"))
		if n == 0 {
			v.Message = fmt.Sprintf("%s is an empty list; fill it, or leave the key out where it may be left out", name)
		}
	case "uniqueItems":
		v.Message = fmt.Sprintf("%s names %s twice; keep one", name, twice(found))
	case "minProperties", "maxProperties":
		v.Message = fmt.Sprintf("%s has %d keys; allowed: %s; fill it or leave it out", name, len(object(found)), between(l.schema, "minProperties", "maxProperties"))
	case "required":
		return s.missing(l, object(found), doc)
	case "additionalProperties":
		return s.unknown(l, object(found))
	case "dependentRequired":
		return lonely(l, object(found))
	case "oneOf":
		keys := alternatives(l.schema)
		var have []string
		for _, k := range keys {
			if _, ok := object(found)[k]; ok {
				have = append(have, k)
			}
		}
		v.Allowed = keys
		v.Message = fmt.Sprintf("%s has %s; exactly one of %s is wanted", name, cmp.Or(strings.Join(have, " and "), "none of its keys"), strings.Join(keys, ", "))
		if _, err := strconv.Atoi(tokens[max(0, len(tokens)-1)]); err == nil && len(have) > 1 {
			v.Message += "; give each an entry of its own"
		}
	default:
		v.Message = fmt.Sprintf("%s: %s", name, l.text)
	}
	return []Violation{v}
}

// name returns what the value is called: its key, or the title of its schema for list elements.
func (s *set) name(l leaf) string {
	tokens := split(l.pointer)
	if len(tokens) == 0 {
		return "document"
	}
	last := tokens[len(tokens)-1]
	if _, err := strconv.Atoi(last); err == nil {
		if t, ok := l.schema["title"].(string); ok {
			return t
		}
		if len(tokens) > 1 {
			return "entry of " + tokens[len(tokens)-2]
		}
	}
	return strconv.Quote(specdata.Shorten(last))[1 : len(strconv.Quote(specdata.Shorten(last)))-1]
}

// missing returns a violation for every key that is required and absent.
func (s *set) missing(l leaf, have map[string]any, doc any) []Violation {
	var out []Violation
	why := ""
	if key, value := s.condition(l); key != "" && slices.Contains(l.place, "then") {
		why = fmt.Sprintf(" where %s is %s", key, value)
	}
	properties, _ := l.schema["properties"].(map[string]any)
	if properties == nil { // the branch of a condition: the properties stand with its parent
		if i := slices.Index(l.place, "allOf"); i >= 0 {
			properties, _ = s.at(l.doc, append(slices.Clone(l.place[:i]), "properties")).(map[string]any)
		}
	}
	for _, key := range words(l.schema["required"]) {
		if _, ok := have[key]; ok {
			continue
		}
		p := s.resolve(l.doc, properties[key])
		v := Violation{Pointer: l.pointer + "/" + specdata.EscapePointer(key), Message: key + " is missing" + why}
		if v.Allowed = words(p["enum"]); v.Allowed != nil {
			v.Message += "; allowed: " + strings.Join(v.Allowed, ", ")
		} else if ex := examples(p); ex != "" {
			v.Message += "; write it like " + ex
		} else if d, ok := p["description"].(string); ok {
			v.Message += ": " + lower(d)
		}
		// A misspelt key is the likelier slip than two others, and it is reported.
		if near := specdata.Nearest(key, maps.Keys(have)); near != "" && properties[near] == nil && specdata.Nearest(near, maps.Keys(properties)) == key && closed(l.schema) {
			continue
		}
		out = append(out, v)
	}
	return out
}

// closed reports whether a schema refuses keys that it does not name.
func closed(schema map[string]any) bool { return schema["additionalProperties"] == false }

// unknown returns a violation for every key that the schema does not know.
func (s *set) unknown(l leaf, have map[string]any) []Violation {
	properties, _ := l.schema["properties"].(map[string]any)
	allowed := slices.Sorted(maps.Keys(properties))
	var out []Violation
	for _, key := range slices.Sorted(maps.Keys(have)) {
		if _, ok := properties[key]; ok {
			continue
		}
		if len(out) == MaxViolations {
			break
		}
		out = append(out, Violation{
			Pointer: l.pointer + "/" + specdata.EscapePointer(key), Value: show(have[key]), Allowed: allowed, Key: true,
			Message: unknownKey(key, have, allowed) + s.below(l, properties, key),
		})
	}
	return out
}

// below says where a key belongs that is unknown here and known in the entries of a list
// beside it.
func (s *set) below(l leaf, properties map[string]any, key string) string {
	for _, name := range slices.Sorted(maps.Keys(properties)) {
		items := object(s.resolve(l.doc, properties[name])["items"])
		if items == nil {
			continue
		}
		if _, ok := object(s.resolve(l.doc, items)["properties"])[key]; ok {
			return fmt.Sprintf("; %s stands in the entries of %s: \"%s: [{%s: …}]\"", key, name, name, key)
		}
	}
	return ""
}

// unknownKey names the key that was probably meant, where one is left to be meant, or
// else all that are allowed.
func unknownKey(key string, have map[string]any, allowed []string) string {
	if near := specdata.Nearest(key, slices.Values(allowed)); near != "" {
		if _, taken := have[near]; !taken {
			return fmt.Sprintf("key %q is unknown here; did you mean %q?", specdata.Shorten(key), near)
		}
	}
	return fmt.Sprintf("key %q is unknown here; allowed: %s", specdata.Shorten(key), strings.Join(allowed, ", "))
}

// lonely returns a violation for every key that stands without one it needs.
func lonely(l leaf, have map[string]any) []Violation {
	needs, _ := l.schema["dependentRequired"].(map[string]any)
	var out []Violation
	for _, key := range slices.Sorted(maps.Keys(needs)) {
		if _, ok := have[key]; !ok {
			continue
		}
		for _, other := range words(needs[key]) {
			if _, ok := have[other]; !ok {
				out = append(out, Violation{Pointer: l.pointer + "/" + key, Value: show(have[key]), Message: fmt.Sprintf("%s stands without %s, which it goes with; add %s or remove %s", key, other, other, key)})
			}
		}
	}
	return out
}

// misplaced explains a key that goes with another value of the key beside it.
func (s *set) misplaced(l leaf, doc any) string {
	tokens := split(l.pointer)
	key := tokens[len(tokens)-1]
	other, value := s.condition(l)
	is := find(doc, append(tokens[:len(tokens)-1:len(tokens)-1], other))
	return fmt.Sprintf("%s goes with %s %s, but %s is %s; remove %s or change %s", key, other, value, other, describe(is), key, other)
}

// condition returns the key and value that the branch of an if, which the leaf stands in, asks for.
func (s *set) condition(l leaf) (key, value string) {
	for i, t := range l.place {
		if t != "then" && t != "else" {
			continue
		}
		cond, _ := s.at(l.doc, append(slices.Clone(l.place[:i]), "if", "properties")).(map[string]any)
		for k, v := range cond {
			m, _ := v.(map[string]any)
			return k, show(m["const"])
		}
	}
	return "", ""
}
