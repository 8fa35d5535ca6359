// Package quick says of most valid documents that they surely are, about thirty times
// as fast as the validator: it reads the bytes once, in the order of their keys, and
// builds nothing. Delete me and lose only speed; the tests here hold every answer to the
// validator's, and tools/presubmit runs the tests of package schema without me.
package quick

import (
	"bytes"
	"encoding/json"
	"slices"
	"strconv"
	"unicode/utf8"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// New returns the rule of a compiled schema, references resolved, or nil where the
// schema uses a keyword that a Rule does not know.
func New(s *jsonschema.Schema) *Rule {
	c := compiler{done: map[*jsonschema.Schema]*Rule{}}
	r := c.rule(s)
	if c.unknown {
		return nil
	}
	return r
}

// Surely reports whether the bytes are surely the RFC 8785 form of a document that is
// valid. False says nothing: ask the validator. A nil Rule is never sure.
func (r *Rule) Surely(canonical []byte) bool {
	if r == nil || !utf8.Valid(canonical) {
		return false
	}
	end, ok := r.value(canonical, 0)
	return ok && end == len(canonical)
}

// Rule is a compiled schema that answers only "surely valid" or "unsure". It knows
// the keywords our schemas use; New returns nil for any other.
type Rule struct {
	types    uint8
	literals [][]byte // const and enum, as canonical JSON
	// objects
	properties     []property // in the order of their keys
	required       uint64     // by index of property
	additional     *Rule      // nil: not allowed
	open           bool       // no additionalProperties: anything goes
	names          *Rule
	minKeys        int
	maxKeys        int
	needs          [][2]int // dependentRequired, by index of property
	exactlyOne     uint64   // oneOf over single required keys, by index of property
	itemRule       *Rule
	minItems       int
	maxItems       int
	unique         bool
	minLen, maxLen int
	pattern        *pattern
	date           bool
	min, max       int64
	also           []*Rule // allOf and $ref with siblings
	branches       []branch
}

// anything allows every value in canonical form.
var anything = &Rule{types: isAnything, open: true, minKeys: -1, maxKeys: -1, minItems: -1, maxItems: -1, minLen: -1, maxLen: -1, min: -1 << 53, max: 1 << 53}

type property struct {
	key  []byte // with quotes, as canonical JSON
	rule *Rule  // nil: anything
}

// branch is an if with its then and else, nil for anything.
type branch struct{ cond, then, other *Rule }

const (
	isObject uint8 = 1 << iota
	isArray
	isString
	isInteger
	isBoolean
	isNull
	isAnything = 0xff
)

var typeBits = map[string]uint8{"object": isObject, "array": isArray, "string": isString, "integer": isInteger, "number": isInteger, "boolean": isBoolean, "null": isNull}

// compiler turns the validator's own compiled schemas, references resolved, into rules.
type compiler struct {
	done    map[*jsonschema.Schema]*Rule
	unknown bool
}

func (c *compiler) rule(s *jsonschema.Schema) *Rule {
	if s == nil {
		return nil
	}
	if r, ok := c.done[s]; ok {
		return r
	}
	r := &Rule{types: isAnything, minKeys: s.MinProperties, maxKeys: s.MaxProperties, minItems: s.MinItems, maxItems: s.MaxItems,
		unique: s.UniqueItems, minLen: s.MinLength, maxLen: s.MaxLength, min: anything.min, max: anything.max}
	c.done[s] = r
	if s.Always != nil {
		if !*s.Always {
			r.types = 0
		}
		return r
	}
	c.refuse(s)
	if len(s.Types) > 0 {
		r.types = 0
		for _, t := range s.Types {
			r.types |= typeBits[t]
		}
	}
	for _, v := range append(slices.Clone(s.Enum), s.Constant...) {
		b, err := json.Marshal(v)
		c.unknown = c.unknown || err != nil
		r.literals = append(r.literals, b)
	}
	if s.Pattern != nil {
		r.pattern = newPattern(s.Pattern)
	}
	if s.Format != "" {
		r.date = s.Format == "date"
		c.unknown = c.unknown || !r.date
	}
	if s.Minimum != nil {
		r.min = s.Minimum.Num().Int64()
	}
	if s.Maximum != nil {
		r.max = s.Maximum.Num().Int64()
	}
	r.itemRule = c.rule(s.Items2020)
	r.names = c.rule(s.PropertyNames)
	c.object(r, s)
	if s.Ref != nil {
		r.also = append(r.also, c.rule(s.Ref))
		if r.bare() && s.AllOf == nil && s.If == nil {
			c.done[s] = r.also[0]
			return r.also[0]
		}
	}
	for _, a := range s.AllOf {
		r.also = append(r.also, c.rule(a))
	}
	if s.If != nil {
		r.branches = append(r.branches, branch{c.rule(s.If), c.rule(s.Then), c.rule(s.Else)})
	}
	return r
}

// bare reports whether the rule asks nothing but what the schemas it refers to ask.
func (r *Rule) bare() bool {
	return r.types == isAnything && r.literals == nil && r.properties == nil && r.open && r.names == nil && r.minKeys < 0 && r.maxKeys < 0 &&
		r.itemRule == nil && r.minItems < 0 && r.maxItems < 0 && !r.unique && r.minLen < 0 && r.maxLen < 0 && r.pattern == nil && !r.date &&
		r.min == anything.min && r.max == anything.max
}

func (c *compiler) object(r *Rule, s *jsonschema.Schema) {
	keys := map[string]*Rule{}
	for k, p := range s.Properties {
		keys[k] = c.rule(p)
	}
	mention := func(ks ...string) {
		for _, k := range ks {
			if _, ok := keys[k]; !ok {
				keys[k] = nil
			}
		}
	}
	mention(s.Required...)
	for k, others := range s.DependentRequired {
		mention(k)
		mention(others...)
	}
	for _, o := range s.OneOf {
		c.refuse(o)
		c.unknown = c.unknown || len(o.Required) != 1 || len(o.Properties) > 0 || len(o.Types) > 0 || len(o.OneOf) > 0 || o.Ref != nil
		mention(o.Required...)
	}
	for k, kr := range keys {
		b, err := json.Marshal(k)
		c.unknown = c.unknown || err != nil || len(b) != len(k)+2
		r.properties = append(r.properties, property{b, kr})
	}
	slices.SortFunc(r.properties, func(a, b property) int { return bytes.Compare(a.key, b.key) })
	c.unknown = c.unknown || len(r.properties) > 64
	index := func(k string) int {
		i, _ := slices.BinarySearchFunc(r.properties, `"`+k+`"`, func(p property, k string) int { return bytes.Compare(p.key, []byte(k)) })
		return i
	}
	for _, k := range s.Required {
		r.required |= 1 << index(k)
	}
	for k, others := range s.DependentRequired {
		for _, o := range others {
			r.needs = append(r.needs, [2]int{index(k), index(o)})
		}
	}
	for _, o := range s.OneOf {
		r.exactlyOne |= 1 << index(o.Required[0])
	}
	switch a := s.AdditionalProperties.(type) {
	case nil:
		r.open = true
	case bool:
		r.open = a
	case *jsonschema.Schema:
		r.additional = c.rule(a)
	}
}

// refuse notes keywords that rules do not know.
func (c *compiler) refuse(s *jsonschema.Schema) {
	fraction := (s.Minimum != nil && !s.Minimum.IsInt()) || (s.Maximum != nil && !s.Maximum.IsInt())
	c.unknown = c.unknown || fraction || s.Not != nil || s.AnyOf != nil || s.RecursiveRef != nil || s.DynamicRef != nil || s.PatternProperties != nil ||
		s.Dependencies != nil || s.DependentSchemas != nil || s.UnevaluatedProperties != nil || s.Items != nil || s.AdditionalItems != nil || s.PrefixItems != nil ||
		s.Contains != nil || s.UnevaluatedItems != nil || s.ContentEncoding != "" || s.ContentMediaType != "" || s.ExclusiveMinimum != nil || s.ExclusiveMaximum != nil || s.MultipleOf != nil
}

// value reads one value at i and returns where it ends. A nil rule allows anything.
func (r *Rule) value(b []byte, i int) (end int, ok bool) {
	if r == nil {
		r = anything
	}
	if i >= len(b) {
		return i, false
	}
	switch b[i] {
	case '"':
		end, ok = r.text(b, i)
	case '{':
		end, ok = r.members(b, i)
	case '[':
		end, ok = r.items(b, i)
	case 't', 'f', 'n':
		end, ok = r.word(b, i)
	default:
		end, ok = r.integer(b, i)
	}
	if !ok || r.literals != nil && !slices.ContainsFunc(r.literals, func(l []byte) bool { return bytes.Equal(l, b[i:end]) }) {
		return i, false
	}
	// The rule itself came first: it is the one that bounds what the others may meet.
	for _, a := range r.also {
		if _, ok := a.value(b, i); !ok {
			return i, false
		}
	}
	for _, br := range r.branches {
		next := br.other
		if _, ok := br.cond.value(b, i); ok {
			next = br.then
		} else if br.unsure(b, i) {
			return i, false
		}
		if _, ok := next.value(b, i); !ok {
			return i, false
		}
	}
	return end, true
}

// word reads true, false or null.
func (r *Rule) word(b []byte, i int) (int, bool) {
	for _, w := range [...]struct {
		text string
		bit  uint8
	}{{"true", isBoolean}, {"false", isBoolean}, {"null", isNull}} {
		if end := i + len(w.text); end <= len(b) && string(b[i:end]) == w.text {
			return end, r.types&w.bit != 0
		}
	}
	return i, false
}

// unsure reports whether a condition that was not surely met might be met all the
// same. Conditions of our schemas hold one key to a text, so that one is surely not
// met when the key is there with other text.
func (br branch) unsure(b []byte, i int) bool {
	if b[i] != '{' || len(br.cond.properties) != 1 || br.cond.properties[0].rule == nil || len(br.cond.properties[0].rule.literals) != 1 {
		return true
	}
	other, text := *br.cond, *anything
	text.types = isString
	other.properties = []property{{br.cond.properties[0].key, &text}}
	other.required = 1
	_, isText := other.value(b, i)
	return !isText
}

func (r *Rule) members(b []byte, i int) (int, bool) {
	if r.types&isObject == 0 {
		return i, false
	}
	var seen uint64
	var before []byte
	n, next := 0, 0
	for i++; i < len(b) && b[i] != '}'; n++ {
		if n > 0 {
			if b[i] != ',' {
				return i, false
			}
			i++
		}
		start := i
		end, ok := key(b, i)
		if !ok || end >= len(b) || b[end] != ':' {
			return i, false
		}
		k := b[start:end]
		// Quotes sort below every character of a key but the space and the
		// exclamation mark, so the inside is compared.
		if n > 0 && bytes.Compare(before[1:len(before)-1], k[1:len(k)-1]) >= 0 {
			return i, false
		}
		before = k
		i = end + 1
		for next < len(r.properties) && bytes.Compare(r.properties[next].key, k) < 0 {
			next++
		}
		var vr *Rule
		if next < len(r.properties) && bytes.Equal(r.properties[next].key, k) {
			seen |= 1 << next
			vr = r.properties[next].rule
		} else if r.additional != nil {
			vr = r.additional
		} else if !r.open {
			return i, false
		}
		if r.names != nil {
			if _, ok := r.names.text(b, start); !ok {
				return i, false
			}
		}
		if i, ok = vr.value(b, i); !ok {
			return i, false
		}
	}
	if i >= len(b) || seen&r.required != r.required || r.minKeys > n || r.maxKeys >= 0 && n > r.maxKeys {
		return i, false
	}
	if one := seen & r.exactlyOne; r.exactlyOne != 0 && (one == 0 || one&(one-1) != 0) {
		return i, false
	}
	for _, need := range r.needs {
		if seen&(1<<need[0]) != 0 && seen&(1<<need[1]) == 0 {
			return i, false
		}
	}
	return i + 1, true
}

func (r *Rule) items(b []byte, i int) (int, bool) {
	if r.types&isArray == 0 {
		return i, false
	}
	var few [16][]byte
	n := 0
	for i++; i < len(b) && b[i] != ']'; n++ {
		if n > 0 {
			if b[i] != ',' {
				return i, false
			}
			i++
		}
		start := i
		var ok bool
		if i, ok = r.itemRule.value(b, i); !ok {
			return i, false
		}
		if r.unique {
			if n == len(few) {
				return i, false
			}
			few[n] = b[start:i]
			for _, other := range few[:n] {
				if bytes.Equal(other, few[n]) {
					return i, false
				}
			}
		}
	}
	if i >= len(b) || r.minItems > n || r.maxItems >= 0 && n > r.maxItems {
		return i, false
	}
	return i + 1, true
}

// text reads a string. One with escapes or beyond ASCII goes the slow way.
func (r *Rule) text(b []byte, i int) (int, bool) {
	if r.types&isString == 0 {
		return i, false
	}
	end, ascii, ok := stringEnd(b, i)
	if !ok {
		return i, false
	}
	inside := b[i+1 : end-1]
	if !ascii {
		return end, r.slowText(b[i:end])
	}
	if len(inside) < r.minLen || r.maxLen >= 0 && len(inside) > r.maxLen || r.pattern != nil && !r.pattern.match(inside) {
		return i, false
	}
	return end, !r.date || calendarDay(inside)
}

func (r *Rule) slowText(quoted []byte) bool {
	var s string
	if json.Unmarshal(quoted, &s) != nil || r.date {
		return false
	}
	n := utf8.RuneCountInString(s)
	return n >= r.minLen && (r.maxLen < 0 || n <= r.maxLen) && (r.pattern == nil || r.pattern.re.MatchString(s))
}

// integer reads a whole number in canonical form; any other number is unsure.
func (r *Rule) integer(b []byte, i int) (int, bool) {
	end := i
	for end < len(b) && (b[end] >= '0' && b[end] <= '9' || b[end] == '-') {
		end++
	}
	n, err := strconv.ParseInt(string(b[i:end]), 10, 64)
	if err != nil || strconv.FormatInt(n, 10) != string(b[i:end]) || end < len(b) && (b[end] == '.' || b[end] == 'e' || b[end] == 'E') {
		return i, false
	}
	return end, r.types&isInteger != 0 && n >= r.min && n <= r.max
}
