package document

import (
	"strings"
	"unicode/utf8"
)

// plainYAML reads the YAML that people and Format write: block objects and lists,
// one-line flow ones, plain and quoted scalars on one line, comments. It gives the
// tree and the comments that the full reader would give, some six times as fast, or
// it gives up, and the full reader decides. It never reports a finding of its own
// but one: a document that is over the limits is known to be so early, whatever
// follows.
type plainYAML struct {
	*reader
	data string
	// The current line: where its content begins and ends, its number and the
	// column of the content, from 0, in bytes.
	start, at, end int
	line, indent   int
	ascii          bool
	eof            bool
	comments       []Comment
	slab           []node
	keys, values   int
	// many holds the keys of objects with more than a few.
	many map[*node]map[string]bool
}

// plain returns the root and ok, or not ok when the full reader must decide. A nil
// root with ok is a document over the limits, reported.
func (r *reader) plain(data []byte) (root *node, comments []Comment, ok bool) {
	y := &plainYAML{reader: r, data: string(data)}
	for i := range data {
		if c := data[i]; c < ' ' && c != '\n' {
			return nil, nil, false
		}
	}
	if y.next(); y.eof || y.indent != 0 {
		return nil, nil, false
	}
	root = y.object(0, 1)
	if r.partial {
		return nil, nil, true
	}
	return root, y.comments, root != nil && y.eof
}

// next goes to the next line with content.
func (y *plainYAML) next() {
	for {
		if y.line > 0 {
			if y.end >= len(y.data) {
				y.eof = true
				return
			}
			y.start = y.end + 1
		}
		y.line++
		y.end = len(y.data)
		if i := strings.IndexByte(y.data[y.start:], '\n'); i >= 0 {
			y.end = y.start + i
		}
		y.at = y.spaces(y.start)
		y.indent = y.at - y.start
		if y.at == y.end {
			continue
		}
		if y.data[y.at] == '#' {
			y.comment(y.at)
			continue
		}
		y.ascii = true
		for i := y.at; i < y.end; i++ {
			if y.data[i] >= utf8.RuneSelf {
				y.ascii = false
				break
			}
		}
		return
	}
}

func (y *plainYAML) comment(i int) {
	y.comments = append(y.comments, Comment{Line: y.line, Text: strings.TrimSpace(y.data[i+1 : y.end]), offset: i - y.start})
}

func (y *plainYAML) spaces(i int) int {
	for i < y.end && y.data[i] == ' ' {
		i++
	}
	return i
}

// node makes a node at an offset of the current line, nil when there are too many.
func (y *plainYAML) node(k kind, i int) *node {
	if y.values++; y.values > MaxValues || y.keys > MaxKeys {
		if !y.partial {
			y.say(RuleLimits, "", int32(y.line), y.column(i), "", tooMany, MaxValues, MaxKeys)
		}
		y.partial = true
		return nil
	}
	if len(y.slab) == 0 {
		y.slab = make([]node, 64)
	}
	n := &y.slab[0]
	y.slab = y.slab[1:]
	n.kind, n.line, n.column = k, int32(y.line), y.column(i)
	return n
}

func (y *plainYAML) column(i int) int32 {
	if y.ascii {
		return int32(i - y.start + 1)
	}
	return int32(utf8.RuneCountInString(y.data[y.start:i]) + 1)
}

// dash reports whether an entry of a block list begins at i.
func (y *plainYAML) dash(i int) bool {
	return y.data[i] == '-' && (i+1 == y.end || y.data[i+1] == ' ')
}

// key returns the end of a plain key that begins at i, 0 if none does. Keys are the
// words that records have; anything else is for the full reader.
func (y *plainYAML) key(i int) int {
	from := i
	for i < y.end {
		c := y.data[i]
		if c >= 'a' && c <= 'z' || c == '_' || i > from && (c >= '0' && c <= '9' || c == '-') {
			i++
			continue
		}
		break
	}
	if i == from || i >= y.end || y.data[i] != ':' || i+1 < y.end && y.data[i+1] != ' ' || plainMeaning(y.data[from:i]) != text {
		return 0
	}
	return i
}

// add puts a member into an object; false for a key that is there already.
func (y *plainYAML) add(n *node, key string, line int, column int32, v *node) bool {
	if len(n.members) < 32 {
		for i := range n.members {
			if n.members[i].key == key {
				return false
			}
		}
	} else if !y.addMany(n, key) {
		return false
	}
	n.members = append(n.members, member{key, int32(line), column, v})
	return true
}

func (y *plainYAML) addMany(n *node, key string) bool {
	if y.many == nil {
		y.many = map[*node]map[string]bool{}
	}
	keys := y.many[n]
	if keys == nil {
		keys = map[string]bool{}
		for _, m := range n.members {
			keys[m.key] = true
		}
		y.many[n] = keys
	}
	if keys[key] {
		return false
	}
	keys[key] = true
	return true
}

// object reads a block object whose keys stand at an indentation; nil gives up.
func (y *plainYAML) object(indent, depth int) *node {
	n := y.node(object, y.at)
	if n == nil || depth > MaxDepth {
		return nil
	}
	for !y.eof && y.indent == indent {
		end := y.key(y.at)
		if end == 0 {
			return nil
		}
		y.keys++
		key, line, column := y.data[y.at:end], y.line, y.column(y.at)
		v := y.behind(end+1, indent, depth, true)
		if v == nil || !y.add(n, key, line, column, v) {
			return nil
		}
	}
	return y.left(n, indent)
}

// list reads a block list whose dashes stand at an indentation; nil gives up.
func (y *plainYAML) list(indent, depth int) *node {
	n := y.node(list, y.at)
	if n == nil || depth > MaxDepth {
		return nil
	}
	for !y.eof && y.indent == indent && y.dash(y.at) {
		var v *node
		i := y.spaces(y.at + 1)
		if i < y.end && y.key(i) > 0 {
			y.at, y.indent = i, i-y.start
			v = y.object(y.indent, depth+1)
		} else {
			v = y.behind(y.at+1, indent, depth, false)
		}
		if v == nil || len(n.items) == MaxItems {
			return nil
		}
		n.items = append(n.items, v)
	}
	return y.left(n, indent)
}

// left returns a block that was read to its end, nil when a deeper line follows, which
// would be a continuation or a mistake.
func (y *plainYAML) left(n *node, indent int) *node {
	if !y.eof && y.indent > indent {
		return nil
	}
	return n
}

// behind reads the value behind a colon or a dash: on the line, or as a block below.
func (y *plainYAML) behind(i, indent, depth int, member bool) *node {
	if i < y.end && y.data[i] != ' ' {
		return nil
	}
	i = y.spaces(i)
	if i == y.end || y.data[i] == '#' {
		if i < y.end {
			if cutsText(y.data[i+1 : y.end]) {
				return nil
			}
			y.comment(i)
		}
		y.next()
		switch {
		case y.eof || y.indent < indent:
			return nil // no value: the full reader says so
		case y.dash(y.at) && (y.indent > indent || member):
			return y.list(y.indent, depth+1)
		case y.indent > indent:
			return y.object(y.indent, depth+1)
		}
		return nil
	}
	v, end := y.inline(i, depth, false)
	if v == nil || !y.rest(end) {
		return nil
	}
	y.next()
	return y.left(v, indent)
}

// rest reports whether nothing but a comment stands behind a value, and takes it.
func (y *plainYAML) rest(i int) bool {
	j := y.spaces(i)
	if j < y.end && y.data[j] == '#' && j > i {
		if cutsText(y.data[j+1 : y.end]) {
			return false // the full reader says what it cuts
		}
		y.comment(j)
		return true
	}
	return j == y.end
}

// inline reads a value on one line and gives where it ends; nil gives up.
func (y *plainYAML) inline(i, depth int, flow bool) (*node, int) {
	if i >= y.end {
		return nil, i
	}
	switch y.data[i] {
	case '"', '\'':
		return y.quoted(i)
	case '{', '[':
		return y.flow(i, depth+1)
	}
	return y.bare(i, flow)
}

func (y *plainYAML) flow(i, depth int) (*node, int) {
	k, closing := object, byte('}')
	if y.data[i] == '[' {
		k, closing = list, ']'
	}
	n := y.node(k, i)
	if n == nil || depth > MaxDepth {
		return nil, i
	}
	if i = y.spaces(i + 1); i < y.end && y.data[i] == closing {
		return n, i + 1
	}
	for {
		var key string
		from := i
		if k == object {
			end := y.key(i)
			if end == 0 {
				return nil, i
			}
			y.keys++
			key, i = y.data[i:end], y.spaces(end+1)
		}
		v, end := y.inline(i, depth, true)
		if v == nil || len(n.items) == MaxItems {
			return nil, i
		}
		if k == list {
			n.items = append(n.items, v)
		} else if !y.add(n, key, y.line, y.column(from), v) {
			return nil, i
		}
		i = y.spaces(end)
		switch {
		case i >= y.end:
			return nil, i
		case y.data[i] == closing:
			return n, i + 1
		case y.data[i] != ',':
			return nil, i
		}
		i = y.spaces(i + 1)
	}
}

// quoted reads text in quotes; an escape other than of a quote is for the full reader.
func (y *plainYAML) quoted(i int) (*node, int) {
	quote := y.data[i]
	n := y.node(text, i)
	if n == nil {
		return nil, i
	}
	from, doubled := i+1, false
	for i++; i < y.end; i++ {
		switch c := y.data[i]; {
		case c == '\\' && quote == '"':
			return nil, i
		case c != quote:
		case quote == '\'' && i+1 < y.end && y.data[i+1] == quote:
			doubled = true
			i++
		default:
			n.text = y.data[from:i]
			if doubled {
				n.text = strings.ReplaceAll(n.text, "''", "'")
			}
			if len(n.text) > MaxString {
				return nil, i
			}
			return n, i + 1
		}
	}
	return nil, i
}

// bare reads a plain scalar.
func (y *plainYAML) bare(i int, flow bool) (*node, int) {
	c := y.data[i]
	letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c >= utf8.RuneSelf
	if !letter && c != '/' && c != '(' {
		return nil, i
	}
	from := i
scan:
	for ; i < y.end; i++ {
		switch c := y.data[i]; c {
		case ':':
			if i+1 == y.end || y.data[i+1] == ' ' || flow && strings.IndexByte(",[]{}", y.data[i+1]) >= 0 {
				return nil, i
			}
		case '#':
			if y.data[i-1] == ' ' {
				if flow {
					return nil, i
				}
				break scan
			}
		case ',', ']', '}':
			if flow {
				break scan
			}
		case '[', '{', '?':
			if flow {
				return nil, i
			}
		}
	}
	v := strings.TrimRight(y.data[from:i], " ")
	if v[0] >= utf8.RuneSelf && typographic(v) {
		return nil, i
	}
	n := y.node(plainMeaning(v), from)
	if n == nil || n.kind == unclear || n.kind == null || len(v) > MaxString {
		return nil, i
	}
	if n.kind == number {
		if b, err := appendNumber(nil, v); err != nil || string(b) != v || checkNumber(v) != "" {
			return nil, i
		}
	}
	n.text = v
	return n, from + len(v)
}
