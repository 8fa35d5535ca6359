// Package plain reads the YAML that people and Format write, some six times as fast as
// the full reader: block objects and lists, one-line flow ones, plain and quoted scalars
// on one line, comments. What it does not know it leaves to the full reader. Delete me
// and lose only speed; the tests here hold every answer to the YAML library's, and
// tools/presubmit runs the readers' tests without me.
package plain

import (
	"strings"
	"unicode/utf8"

	"proofload/specdata/document/scalar"
)

// Limits bounds what Read takes. A document beyond Keys or Values is Over; one beyond
// another limit is left to the full reader.
type Limits struct {
	Depth, Keys, Values, Items, String int
}

// Key is the kind of a token that is the key of the value behind it.
const Key scalar.Kind = 0x10

// Token is one value or key of a document in order of place. The tokens of an object
// follow it as Len pairs of key and value, those of a list as Len values.
type Token struct {
	Kind scalar.Kind
	// Line and Column count from 1; Column in code points.
	Line, Column int32
	Len          int32
	Text         string
}

// Comment is a comment, without the number sign and the spaces at its ends.
type Comment struct {
	// Line counts from 1; Offset, in bytes and from 0, is that of the number sign.
	Line, Offset int
	Text         string
}

// Result is what Read found.
type Result struct {
	Tokens   []Token
	Comments []Comment
	// Over reports that the document has more keys or values than the limits allow,
	// at Line and Column. There are no tokens then.
	Over         bool
	Line, Column int32
}

// reader reads one document. Its methods return false where the full reader decides.
type reader struct {
	data string
	lim  Limits
	// The current line: where its content begins and ends, its number and the
	// column of the content, from 0, in bytes.
	start, at, end int
	line, indent   int
	ascii          bool
	eof            bool
	keys, values   int
	out            Result
	// names holds the keys of the objects that are open, the innermost last.
	names []string
}

// Read returns the tokens and comments of a YAML text, and false where the full reader
// must decide. The text is valid UTF-8 without characters that specdata.Unseen finds.
func Read(data string, lim Limits) (Result, bool) {
	y := &reader{data: data, lim: lim}
	for i := range len(data) {
		if c := data[i]; c < ' ' && c != '\n' {
			return Result{}, false
		}
	}
	if y.next(); y.eof || y.indent != 0 {
		return Result{}, false
	}
	y.out.Tokens = make([]Token, 0, 64)
	read := y.object(0, 1)
	if y.out.Over {
		y.out.Tokens = nil
		return y.out, true
	}
	return y.out, read && y.eof
}

// next goes to the next line with content.
func (y *reader) next() {
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

func (y *reader) comment(i int) {
	y.out.Comments = append(y.out.Comments, Comment{Line: y.line, Offset: i - y.start, Text: strings.TrimSpace(y.data[i+1 : y.end])})
}

func (y *reader) spaces(i int) int {
	for i < y.end && y.data[i] == ' ' {
		i++
	}
	return i
}

// token adds a token at an offset of the current line and returns its index, false
// when there are too many.
func (y *reader) token(k scalar.Kind, i int) (int, bool) {
	if y.values++; y.values > y.lim.Values || y.keys > y.lim.Keys {
		if !y.out.Over {
			y.out.Over, y.out.Line, y.out.Column = true, int32(y.line), y.column(i)
		}
		return 0, false
	}
	y.out.Tokens = append(y.out.Tokens, Token{Kind: k, Line: int32(y.line), Column: y.column(i)})
	return len(y.out.Tokens) - 1, true
}

func (y *reader) column(i int) int32 {
	if y.ascii {
		return int32(i - y.start + 1)
	}
	return int32(utf8.RuneCountInString(y.data[y.start:i]) + 1)
}

// dash reports whether an entry of a block list begins at i.
func (y *reader) dash(i int) bool {
	return y.data[i] == '-' && (i+1 == y.end || y.data[i+1] == ' ')
}

// key returns the end of a plain key that begins at i, 0 if none does. Keys are the
// words that records have; anything else is for the full reader.
func (y *reader) key(i int) int {
	from := i
	for i < y.end {
		c := y.data[i]
		if c >= 'a' && c <= 'z' || c == '_' || i > from && (c >= '0' && c <= '9' || c == '-') {
			i++
			continue
		}
		break
	}
	if i == from || i >= y.end || y.data[i] != ':' || i+1 < y.end && y.data[i+1] != ' ' || scalar.Meaning(y.data[from:i]) != scalar.Text {
		return 0
	}
	return i
}

// maxMembers is the most keys of one object, which are searched one by one. Records
// have fewer; the full reader takes the others.
const maxMembers = 64

// member adds the key from i to end to the object at index n, whose keys begin at
// base in names. It returns false for a key that is there already and for one too many.
func (y *reader) member(n, base, i, end int) bool {
	key := y.data[i:end]
	if len(y.names)-base == maxMembers {
		return false
	}
	for _, k := range y.names[base:] {
		if k == key {
			return false
		}
	}
	y.names = append(y.names, key)
	y.keys++
	y.out.Tokens[n].Len++
	y.out.Tokens = append(y.out.Tokens, Token{Kind: Key, Line: int32(y.line), Column: y.column(i), Text: key})
	return true
}

// item counts one more entry of the list at index n.
func (y *reader) item(n int) bool {
	y.out.Tokens[n].Len++
	return int(y.out.Tokens[n].Len) <= y.lim.Items
}

// object reads a block object whose keys are at an indentation.
func (y *reader) object(indent, depth int) bool {
	n, ok := y.token(scalar.Object, y.at)
	if !ok || depth > y.lim.Depth {
		return false
	}
	base := len(y.names)
	for !y.eof && y.indent == indent {
		end := y.key(y.at)
		if end == 0 || !y.member(n, base, y.at, end) || !y.behind(end+1, indent, depth, true) {
			return false
		}
	}
	y.names = y.names[:base]
	return y.left(indent)
}

// list reads a block list whose dashes are at an indentation.
func (y *reader) list(indent, depth int) bool {
	n, ok := y.token(scalar.List, y.at)
	if !ok || depth > y.lim.Depth {
		return false
	}
	for !y.eof && y.indent == indent && y.dash(y.at) {
		i := y.spaces(y.at + 1)
		if i < y.end && y.key(i) > 0 {
			y.at, y.indent = i, i-y.start
			ok = y.object(y.indent, depth+1)
		} else {
			ok = y.behind(y.at+1, indent, depth, false)
		}
		if !ok || !y.item(n) {
			return false
		}
	}
	return y.left(indent)
}

// left reports whether a block was read to its end: a deeper line that follows would be
// a continuation or a mistake.
func (y *reader) left(indent int) bool { return y.eof || y.indent <= indent }

// behind reads the value behind a colon or a dash: on the line, or as a block below.
func (y *reader) behind(i, indent, depth int, member bool) bool {
	if i < y.end && y.data[i] != ' ' {
		return false
	}
	i = y.spaces(i)
	if i == y.end || y.data[i] == '#' {
		if i < y.end {
			if scalar.CutsText(y.data[i+1 : y.end]) {
				return false
			}
			y.comment(i)
		}
		y.next()
		switch {
		case y.eof || y.indent < indent:
			return false // no value: the full reader says so
		case y.dash(y.at) && (y.indent > indent || member):
			return y.list(y.indent, depth+1)
		case y.indent > indent:
			return y.object(y.indent, depth+1)
		}
		return false
	}
	end, ok := y.inline(i, depth, false)
	if !ok || !y.rest(end) {
		return false
	}
	y.next()
	return y.left(indent)
}

// rest reports whether nothing but a comment is behind a value, and takes it.
func (y *reader) rest(i int) bool {
	j := y.spaces(i)
	if j < y.end && y.data[j] == '#' && j > i {
		if scalar.CutsText(y.data[j+1 : y.end]) {
			return false // the full reader says what it cuts
		}
		y.comment(j)
		return true
	}
	return j == y.end
}

// inline reads a value on one line and returns where it ends.
func (y *reader) inline(i, depth int, flow bool) (int, bool) {
	if i >= y.end {
		return i, false
	}
	switch y.data[i] {
	case '"', '\'':
		return y.quoted(i)
	case '{', '[':
		return y.flow(i, depth+1)
	}
	return y.bare(i, flow)
}

// flow reads an object in braces or a list in brackets.
func (y *reader) flow(i, depth int) (int, bool) {
	k, closing := scalar.Object, byte('}')
	if y.data[i] == '[' {
		k, closing = scalar.List, ']'
	}
	n, ok := y.token(k, i)
	if !ok || depth > y.lim.Depth {
		return i, false
	}
	if i = y.spaces(i + 1); i < y.end && y.data[i] == closing {
		return i + 1, true
	}
	base := len(y.names)
	for {
		if k == scalar.Object {
			end := y.key(i)
			if end == 0 || !y.member(n, base, i, end) {
				return i, false
			}
			i = y.spaces(end + 1)
		} else if !y.item(n) {
			return i, false
		}
		if i, ok = y.inline(i, depth, true); !ok {
			return i, false
		}
		i = y.spaces(i)
		switch {
		case i >= y.end:
			return i, false
		case y.data[i] == closing:
			y.names = y.names[:base]
			return i + 1, true
		case y.data[i] != ',':
			return i, false
		}
		i = y.spaces(i + 1)
	}
}

// quoted reads text in quotes; an escape other than of a quote is for the full reader.
func (y *reader) quoted(i int) (int, bool) {
	quote := y.data[i]
	n, ok := y.token(scalar.Text, i)
	if !ok {
		return i, false
	}
	from, doubled := i+1, false
	for i++; i < y.end; i++ {
		switch c := y.data[i]; {
		case c == '\\' && quote == '"':
			return i, false
		case c != quote:
		case quote == '\'' && i+1 < y.end && y.data[i+1] == quote:
			doubled = true
			i++
		default:
			text := y.data[from:i]
			if doubled {
				text = strings.ReplaceAll(text, "''", "'")
			}
			y.out.Tokens[n].Text = text
			return i + 1, len(text) <= y.lim.String
		}
	}
	return i, false
}

// bare reads a plain scalar.
func (y *reader) bare(i int, flow bool) (int, bool) {
	c := y.data[i]
	letter := c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c >= utf8.RuneSelf
	if !letter && c != '/' && c != '(' {
		return i, false
	}
	from := i
scan:
	for ; i < y.end; i++ {
		switch c := y.data[i]; c {
		case ':':
			if i+1 == y.end || y.data[i+1] == ' ' || flow && strings.IndexByte(",[]{}", y.data[i+1]) >= 0 {
				return i, false
			}
		case '#':
			if y.data[i-1] == ' ' {
				if flow {
					return i, false
				}
				break scan
			}
		case ',', ']', '}':
			if flow {
				break scan
			}
		case '[', '{', '?':
			if flow {
				return i, false
			}
		}
	}
	v := strings.TrimRight(y.data[from:i], " ")
	kind := scalar.Meaning(v)
	switch {
	case kind == scalar.Unclear, kind == scalar.Null, len(v) > y.lim.String:
		return i, false
	case v[0] >= utf8.RuneSelf && scalar.Typographic(v):
		return i, false
	case kind == scalar.Number:
		if b, err := scalar.AppendNumber(nil, v); err != nil || string(b) != v || scalar.CheckNumber(v) != "" {
			return i, false
		}
	}
	n, ok := y.token(kind, from)
	if !ok {
		return i, false
	}
	y.out.Tokens[n].Text = v
	return from + len(v), true
}
