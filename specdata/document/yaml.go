package document

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"proofload/specdata"
	"proofload/specdata/document/scalar"
)

// yamlReader turns the nodes of a YAML text into ours. Only what JSON can say is
// allowed: no anchors, aliases, merge keys, tags, no second document.
type yamlReader struct {
	*reader
	cursor cursor
	// keys and values count what was read.
	keys, values int
	over         bool // a limit on either is passed
	spans        []span
}

// yaml returns the root and the comments; the root is nil when nothing could be read.
func (r *reader) yaml(data []byte) (*node, []Comment) {
	if r.dense(data) {
		return nil, nil
	}
	if root, cs, ok := r.fast(data); ok {
		return root, cs
	}
	return r.fullYAML(data)
}

// fullYAML reads whatever the YAML library reads, and refuses much of it.
func (r *reader) fullYAML(data []byte) (*node, []Comment) {
	y := &yamlReader{reader: r, cursor: cursor{lines: bytes.Split(data, []byte("\n"))}}
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc yaml.Node
	if err := next(dec, &doc); err != nil {
		r.yamlError(err, y.cursor.lines)
		return nil, nil
	}
	var second yaml.Node
	switch err := next(dec, &second); {
	case err == io.EOF:
	case err != nil:
		r.yamlError(err, y.cursor.lines)
		return nil, nil
	default:
		r.say(RulePlainYAML, "", int32(second.Line), int32(second.Column), "", "a second document begins here; a file holds one record, move it to a file of its own")
		return nil, nil
	}
	for i, l := range y.cursor.lines {
		if string(bytes.TrimRight(l, " \t\r")) == "..." {
			r.say(RulePlainYAML, "", int32(i+1), 1, "...", "three dots end a document; a file holds one record and needs no end, take them out")
			return nil, nil
		}
	}
	root := y.node(doc.Content[0], nil, 1)
	cs := comments(y.cursor.lines, y.spans)
	r.cuts(y.cursor.lines, cs)
	return root, cs
}

// next reads a document. It keeps a panic of the YAML library, should one be found,
// from ending the program.
func next(dec *yaml.Decoder, n *yaml.Node) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("yaml: text cannot be read (%v)", p)
		}
	}()
	return dec.Decode(n)
}

// yamlError reports what keeps a text from being YAML, in an editor's words.
func (r *reader) yamlError(err error, lines [][]byte) {
	if err == io.EOF {
		r.say(RuleSyntax, "", 1, 1, "", "document holds nothing but comments; "+itBegins)
		return
	}
	s := slipOf(lines, err)
	column := utf8.RuneCount(lines[s.line][:min(s.offset, len(lines[s.line]))]) + 1
	r.say(RuleSyntax, "", int32(s.line+1), int32(column), "", "%s", s.words)
}

// node converts one value; depth counts the objects and lists around and including it.
func (y *yamlReader) node(yn *yaml.Node, p *trail, depth int) *node {
	n := &node{line: int32(yn.Line), column: int32(yn.Column)}
	if y.values++; y.values > MaxValues || y.keys > MaxKeys {
		if !y.over {
			y.say(RuleLimits, "", n.line, n.column, "", tooMany, MaxValues, MaxKeys)
		}
		y.over, y.partial = true, true
		return n
	}
	say := func(rule, format string, args ...any) {
		y.say(rule, p.pointer(), n.line, n.column, specdata.Shorten(yn.Value), format, args...)
	}
	switch c := y.cursor.char(yn.Line, yn.Column); {
	case yn.Kind == yaml.AliasNode:
		say(RulePlainYAML, "alias *%s is used; write the value out, or put the text in quotes if it begins with a star", specdata.Shorten(yn.Value))
		return n
	case yn.Anchor != "":
		say(RulePlainYAML, "anchor &%s is set; remove it and write values out where they are used, or put the text in quotes if it begins with an ampersand", specdata.Shorten(yn.Anchor))
	case yn.Style&yaml.TaggedStyle != 0 || c == '!':
		say(RulePlainYAML, "tag %s is set; remove it, the schema says what a value is, or put the text in quotes if it begins with an exclamation mark", specdata.Shorten(yn.Tag))
	}
	switch yn.Kind {
	case yaml.ScalarNode:
		y.scalar(n, yn, say)
	case yaml.SequenceNode, yaml.MappingNode:
		if depth > MaxDepth {
			say(RuleLimits, "document nests deeper than %d", MaxDepth)
			y.partial = true
			return n
		}
		if yn.Kind == yaml.SequenceNode {
			n.kind = list
			for i, c := range yn.Content {
				if i == MaxItems {
					say(RuleLimits, tooLong, MaxItems)
					y.partial = true
					break
				}
				if yn.Style&yaml.FlowStyle == 0 {
					y.continued(c, c.Line, yn.Column)
				}
				n.items = append(n.items, y.node(c, &trail{p, "", i}, depth+1))
			}
		} else {
			y.object(n, yn, p, depth)
		}
	}
	return n
}

func (y *yamlReader) object(n *node, yn *yaml.Node, p *trail, depth int) {
	n.kind = object
	seen := make(map[string]bool, len(yn.Content)/2)
	for i := 0; i+1 < len(yn.Content); i += 2 {
		k := yn.Content[i]
		at := &trail{p, k.Value, -1}
		m := member{key: k.Value, line: int32(k.Line), column: int32(k.Column)}
		if y.keys++; y.over {
			return
		}
		if k.Kind == yaml.ScalarNode && k.Tag == "!!merge" {
			y.say(RulePlainYAML, at.pointer(), m.line, m.column, "<<", "merge key << is used; write the values out")
			y.partial = true
			continue
		}
		if k.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
			y.say(RulePlainYAML, at.pointer(), m.line, m.column, specdata.Shorten(k.Value), "key is a text of several lines; keys are words on one line")
			y.partial = true
			continue
		}
		if y.comma(n, yn, i, at, p) {
			continue
		}
		kn := y.node(k, at, depth+1)
		if y.over {
			return
		}
		if kn.kind != text {
			y.say(RuleSyntax, at.pointer(), m.line, m.column, specdata.Shorten(k.Value), "key %s is not text; keys are words, put it in quotes if it is meant as one", quote(k.Value))
			y.partial = true
			continue
		}
		if seen[m.key] {
			y.duplicate(n, p, m)
		}
		seen[m.key] = true
		if yn.Style&yaml.FlowStyle == 0 {
			y.continued(yn.Content[i+1], k.Line, k.Column)
		}
		m.value = y.node(yn.Content[i+1], at, depth+1)
		n.members = append(n.members, m)
	}
}

// comma reports a text between braces that its comma cut in two: "25,5 N.m" is the
// number 25 and a key "5 N.m" to YAML.
func (y *yamlReader) comma(n *node, yn *yaml.Node, i int, at, p *trail) bool {
	k, v := yn.Content[i], yn.Content[i+1]
	if yn.Style&yaml.FlowStyle == 0 || v.Kind != yaml.ScalarNode || v.Value != "" || v.Style != 0 || k.Style != 0 {
		return false
	}
	if k.Line > len(y.cursor.lines) {
		return false
	}
	rest := bytes.TrimLeft(y.cursor.lines[k.Line-1][y.cursor.at(k.Line, k.Column):], " ")
	if rest = bytes.TrimLeft(bytes.TrimPrefix(rest, []byte(k.Value)), " "); len(rest) > 0 && rest[0] == ':' {
		return false // a key without a value, which the schema judges
	}
	if len(n.members) == 0 {
		y.say(RuleSyntax, at.pointer(), int32(k.Line), int32(k.Column), specdata.Shorten(k.Value), "%q stands between braces without a colon and a value; between braces every entry is a key, a colon and a value", specdata.Shorten(k.Value))
		y.partial = true
		return true
	}
	prev := &n.members[len(n.members)-1]
	said := prev.value.text + ", " + k.Value
	mend := "put the text in quotes: " + inQuotes(said)
	if t := prev.value.text; t != "" && k.Value != "" && isDigit(t[len(t)-1]) && isDigit(k.Value[0]) {
		said = t + "," + k.Value
		mend = "write a decimal with a point: " + t + "." + k.Value
	}
	y.say(RuleSyntax, (&trail{p, prev.key, -1}).pointer(), prev.value.line, prev.value.column, specdata.Shorten(said),
		"%s is %q, but between braces a comma ends a value; %s", specdata.Shorten(prev.key), specdata.Shorten(said), mend)
	prev.value.kind, prev.value.text, prev.value.items, prev.value.members = text, said, nil, nil
	return true
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

const (
	tooMany = "document has more than %d values or %d keys"
	tooLong = "list has more than %d entries"
)

// scalar decides what a scalar is. Quoted and block scalars are text. A plain one is
// true, false, null, a number in its canonical form, or text, and nothing that
// another reader may take for something else.
func (y *yamlReader) scalar(n *node, yn *yaml.Node, say func(rule, format string, args ...any)) {
	n.kind, n.text = text, yn.Value
	if len(yn.Value) > MaxString {
		say(RuleLimits, "a string has %d bytes; allowed: %d", len(yn.Value), MaxString)
		return
	}
	if yn.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
		y.spans = append(y.spans, span{yn.Line, yn.Column, yn.Style})
		return
	}
	if scalar.Typographic(yn.Value) {
		say(RuleSyntax, "%s stands in typographic quotes, which are part of the text to YAML; write straight ones: %s", specdata.Shorten(yn.Value), inQuotes(strings.Trim(yn.Value, scalar.TypographicQuotes)))
		return
	}
	switch v := yn.Value; scalar.Meaning(v) {
	case boolean:
		n.kind = boolean
	case null:
		n.kind = null
	case number:
		n.kind = number
		if wrong := scalar.CheckNumber(v); wrong != "" {
			say(RuleLimits, "%s", wrong)
		} else if b, err := scalar.AppendNumber(nil, v); err != nil || string(b) != v {
			say(RuleExactScalar, "number %s does not format back to itself (%s); write %s, or put it in quotes if the digits matter", v, b, b)
		}
	case scalar.Unclear:
		say(RuleExactScalar, "%s", ambiguity(v))
	}
}

func ambiguity(v string) string {
	switch l := strings.ToLower(v); l {
	case "y", "yes", "on", "true", "n", "no", "off", "false":
		word := "true"
		if strings.HasPrefix(l, "n") || l == "off" || l == "false" {
			word = "false"
		}
		return fmt.Sprintf("%s is a truth value to some readers and text to others; write %s, or \"%s\" if the word is meant", v, word, v)
	case "null", "~":
		return fmt.Sprintf("%s says that there is no value; leave the key out, or write \"%s\" if the word is meant", v, v)
	}
	return fmt.Sprintf("%s is read as different numbers by different readers; write plain decimal digits without leading zeros, signs or marks, or \"%s\" if text is meant", specdata.Shorten(v), specdata.Shorten(v))
}

// cursor turns places counted in code points into byte offsets. Places that come in
// order cost one pass over the text together.
type cursor struct {
	lines                [][]byte
	line, column, offset int
}

// at returns the offset of a place in its line; it is the line's length beyond its end.
func (c *cursor) at(line, column int) int {
	if line != c.line || column < c.column {
		c.line, c.column, c.offset = line, 1, 0
	}
	b := c.lines[line-1]
	for ; c.column < column && c.offset < len(b); c.column++ {
		_, n := utf8.DecodeRune(b[c.offset:])
		c.offset += n
	}
	return c.offset
}

// char returns the byte at a place, 0 where there is none.
func (c *cursor) char(line, column int) byte {
	if line < 1 || line > len(c.lines) {
		return 0
	}
	if i := c.at(line, column); i < len(c.lines[line-1]) {
		return c.lines[line-1][i]
	}
	return 0
}
