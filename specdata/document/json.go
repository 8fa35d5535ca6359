package document

import (
	"bytes"
	"strconv"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"proofload/schema"
	"proofload/specdata"
	"proofload/specdata/document/scalar"
)

// jsonReader reads JSON text (RFC 8259, restricted to RFC 7493) into nodes.
type jsonReader struct {
	*reader
	data []byte
	pos  int
	// keys and values count what was read.
	keys, values int
	// Line, column and offset of the last place asked for; places are asked for in
	// order, so that finding them all takes one pass.
	line, column int32
	placed       int
}

// json returns the root, nil after a finding that leaves nothing to read.
func (r *reader) json(data []byte) *node {
	j := &jsonReader{reader: r, data: data, line: 1, column: 1}
	j.space()
	n := j.value(nil, 0)
	if n == nil {
		return nil
	}
	j.space()
	if j.pos < len(data) {
		j.fail(nil, RuleSyntax, "document goes on behind its end; a file holds one record")
		return nil
	}
	return n
}

// mark returns the place of the current position.
func (j *jsonReader) mark() (line, column int32) {
	part := j.data[j.placed:j.pos]
	if i := bytes.LastIndexByte(part, '\n'); i >= 0 {
		j.line += int32(bytes.Count(part, []byte("\n")))
		j.column = 1
		part = part[i+1:]
	}
	j.column += int32(utf8.RuneCount(part))
	j.placed = j.pos
	return j.line, j.column
}

func (j *jsonReader) fail(p *trail, rule, format string, args ...any) {
	line, column := place(j.data, min(j.pos, len(j.data)))
	j.say(rule, p.pointer(), line, column, "", format, args...)
}

func (j *jsonReader) space() {
	for j.pos < len(j.data) {
		switch j.data[j.pos] {
		case ' ', '\t', '\r', '\n':
			j.pos++
		default:
			return
		}
	}
}

func (j *jsonReader) value(p *trail, depth int) *node {
	if j.pos >= len(j.data) {
		j.fail(p, RuleSyntax, "document ends where a value is wanted; the file may be cut short")
		return nil
	}
	if j.values++; j.values > MaxValues {
		j.fail(p, RuleLimits, "document has more than %d values", MaxValues)
		return nil
	}
	n := &node{}
	n.line, n.column = j.mark()
	switch c := j.data[j.pos]; {
	case c == '{' || c == '[':
		if depth == MaxDepth {
			j.fail(p, RuleLimits, "document nests deeper than %d", MaxDepth)
			return nil
		}
		j.pos++
		if c == '{' {
			return j.object(n, p, depth+1)
		}
		return j.list(n, p, depth+1)
	case c == '"':
		n.kind = text
		s, ok := j.str(p)
		if !ok {
			return nil
		}
		n.text = s
		return n
	case c == '-' || c >= '0' && c <= '9':
		n.kind = number
		return j.number(n, p)
	}
	for _, w := range [...]struct {
		word string
		kind kind
	}{{"true", boolean}, {"false", boolean}, {"null", null}} {
		if bytes.HasPrefix(j.data[j.pos:], []byte(w.word)) {
			j.pos += len(w.word)
			n.kind, n.text = w.kind, w.word
			return n
		}
	}
	c, _ := utf8.DecodeRune(j.data[j.pos:])
	j.fail(p, RuleSyntax, "%q cannot begin a value; allowed: an object, a list, a string in double quotes, a number, true, false", c)
	return nil
}

func (j *jsonReader) object(n *node, p *trail, depth int) *node {
	n.kind = object
	var seen map[string]bool
	for {
		j.space()
		if j.peek('}') {
			if len(n.members) > 0 {
				j.fail(p, RuleSyntax, "a comma stands before the closing brace; remove it")
				return nil
			}
			j.pos++
			return n
		}
		if !j.peek('"') {
			j.fail(p, RuleSyntax, "a key in double quotes is wanted here")
			return nil
		}
		m := member{}
		m.line, m.column = j.mark()
		key, ok := j.str(p)
		if !ok {
			return nil
		}
		m.key = key
		if j.keys++; j.keys > MaxKeys {
			j.fail(p, RuleLimits, "document has more than %d keys", MaxKeys)
			return nil
		}
		if seen == nil {
			seen = make(map[string]bool, 8)
		}
		if seen[key] {
			j.duplicate(n, p, m)
		}
		seen[key] = true
		j.space()
		if !j.peek(':') {
			j.fail(p, RuleSyntax, "a colon is wanted behind the key %s", quote(key))
			return nil
		}
		j.pos++
		j.space()
		if m.value = j.value(&trail{p, key, -1}, depth); m.value == nil {
			return nil
		}
		n.members = append(n.members, m)
		j.space()
		if j.peek(',') {
			j.pos++
			continue
		}
		if !j.peek('}') {
			j.fail(p, RuleSyntax, "a comma or a closing brace is wanted here; the object may be cut short")
			return nil
		}
		j.pos++
		return n
	}
}

func (j *jsonReader) list(n *node, p *trail, depth int) *node {
	n.kind = list
	for {
		j.space()
		if j.peek(']') {
			if len(n.items) > 0 {
				j.fail(p, RuleSyntax, "a comma stands before the closing bracket; remove it")
				return nil
			}
			j.pos++
			return n
		}
		if len(n.items) == MaxItems {
			j.fail(p, RuleLimits, tooLong, MaxItems)
			return nil
		}
		v := j.value(&trail{p, "", len(n.items)}, depth)
		if v == nil {
			return nil
		}
		n.items = append(n.items, v)
		j.space()
		if j.peek(',') {
			j.pos++
			continue
		}
		if !j.peek(']') {
			j.fail(p, RuleSyntax, "a comma or a closing bracket is wanted here; the list may be cut short")
			return nil
		}
		j.pos++
		return n
	}
}

// duplicate reports a key that the object already has.
func (r *reader) duplicate(n *node, p *trail, m member) {
	if len(r.findings) > schema.MaxViolations {
		return // nobody reads more, and finding the first of each takes time
	}
	_, first := n.child(m.key)
	at := &trail{p, m.key, -1}
	var line int32
	if first != nil {
		line = first.line
	}
	r.say(RuleDuplicateKey, at.pointer(), m.line, m.column, specdata.Shorten(m.key), "key %s stands twice in one object, first on line %d; keep one", quote(m.key), line)
}

func (j *jsonReader) peek(c byte) bool { return j.pos < len(j.data) && j.data[j.pos] == c }

func (j *jsonReader) number(n *node, p *trail) *node {
	start := j.pos
	for j.pos < len(j.data) {
		c := j.data[j.pos]
		if c >= '0' && c <= '9' || c == '-' || c == '+' || c == '.' || c == 'e' || c == 'E' {
			j.pos++
			continue
		}
		break
	}
	n.text = string(j.data[start:j.pos])
	wrong, rule := "", RuleSyntax
	if !scalar.IsNumber(n.text) {
		wrong = "number " + specdata.Shorten(n.text) + " is not in the JSON form: no leading zeros, no plus sign, digits on both sides of the point"
	} else if wrong = scalar.CheckNumber(n.text); wrong != "" {
		rule = RuleLimits
	}
	if wrong != "" {
		j.say(rule, p.pointer(), n.line, n.column, specdata.Shorten(n.text), "%s", wrong)
		return nil
	}
	return n
}

// str reads a string at its opening quote.
func (j *jsonReader) str(p *trail) (string, bool) {
	j.pos++
	start := j.pos
	for j.pos < len(j.data) && j.data[j.pos] != '"' && j.data[j.pos] != '\\' && j.data[j.pos] >= ' ' {
		j.pos++
	}
	if j.peek('"') {
		s := string(j.data[start:j.pos])
		j.pos++
		return s, j.stringFits(p, len(s))
	}
	b := append([]byte(nil), j.data[start:j.pos]...)
	for j.pos < len(j.data) {
		c := j.data[j.pos]
		switch {
		case c == '"':
			j.pos++
			return string(b), j.stringFits(p, len(b))
		case c < ' ':
			j.fail(p, RuleSyntax, "a string holds the control character U+%04X; write it as an escape or remove it", c)
			return "", false
		case c != '\\':
			b = append(b, c)
			j.pos++
			continue
		}
		r, n := unescape(j.data[j.pos:])
		if n == 0 {
			j.fail(p, RuleSyntax, "a string holds a backslash sequence that is no character; allowed: \\\" \\\\ \\/ \\b \\f \\n \\r \\t and \\u with four hex digits of a whole character that is not U+0000")
			return "", false
		}
		b = utf8.AppendRune(b, r)
		j.pos += n
	}
	j.fail(p, RuleSyntax, "a string has no closing quote; the file may be cut short")
	return "", false
}

func (j *jsonReader) stringFits(p *trail, n int) bool {
	if n > MaxString {
		j.fail(p, RuleLimits, "a string has %d bytes; allowed: %d", n, MaxString)
		return false
	}
	return true
}

// unescape reads one backslash sequence and returns its character and length, 0 if it is none.
func unescape(b []byte) (rune, int) {
	if len(b) < 2 {
		return 0, 0
	}
	if i := strings.IndexByte(`"\/bfnrt`, b[1]); i >= 0 {
		return rune("\"\\/\b\f\n\r\t"[i]), 2
	}
	hex := func(b []byte) rune {
		if len(b) < 6 || b[0] != '\\' || b[1] != 'u' {
			return -1
		}
		v, err := strconv.ParseUint(string(b[2:6]), 16, 16)
		if err != nil {
			return -1
		}
		return rune(v)
	}
	r := hex(b)
	if r <= 0 {
		return 0, 0
	}
	if utf16.IsSurrogate(r) {
		if r = utf16.DecodeRune(r, hex(b[6:])); r == utf8.RuneError {
			return 0, 0
		}
		return r, 12
	}
	return r, 6
}

func quote(s string) string { return strconv.Quote(specdata.Shorten(s)) }
