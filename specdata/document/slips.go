package document

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"proofload/specdata"
)

// slip is what an editor did to a text that is no YAML, with its place in it.
type slip struct {
	line   int // from 0
	offset int // in bytes
	words  string
}

// slipOf finds the slip behind an error of the YAML library, whose own words and
// places are about its grammar. It reads line by line, as an editor does: up to the
// line that the library stopped at, the first line with a slip is the one to mend.
func slipOf(lines [][]byte, err error) slip {
	stop, from := 0, -1
	var le *yaml.LoadError
	if errors.As(err, &le) {
		stop = le.Mark.Line - 1
		if le.ContextMsg != "" {
			from = le.ContextMark.Line - 1
		}
	}
	stop = min(max(stop, 0), len(lines)-1)
	r := slipReader{lines: lines, stop: stop, opened: from}
	for n := 0; n <= stop; n++ {
		if s, ok := r.line(n); ok {
			return s
		}
	}
	// What was opened and never closed runs to the end of the text.
	if from >= 0 && from < stop {
		return slip{from, indentOf(lines[from]), fmt.Sprintf("what begins here, %q, is not closed; look for a quote, bracket or brace without its partner", excerpt(lines[from]))}
	}
	for stop > 0 && len(bytes.TrimSpace(lines[stop])) == 0 {
		stop--
	}
	return slip{stop, indentOf(lines[stop]), fmt.Sprintf("line %q cannot be read as YAML; look here and in the line above for a missing colon, comma, quote or bracket", excerpt(lines[stop]))}
}

// slipReader follows the lines of a text by their indentation.
type slipReader struct {
	lines  [][]byte
	stop   int
	opened int // line of what the library was in the middle of, -1 for none
	// indents are those of the objects and lists that are open.
	indents []int
	// full says that the line above has its value, so that nothing may lie below it.
	full bool
	// block is the indentation that ends a block text, -1 outside one; filled says that
	// the block has a line.
	block  int
	filled bool
	begun  bool
}

var (
	slipKey   = regexp.MustCompile(`^("[^"]*"|'[^']*'|[^\s"'#\[\]{},:&*!|>%@-][^\s:{}\[\],]*)(\s*):(?:\s+(.*)|$)`)
	slipTight = regexp.MustCompile(`^([a-z][a-z0-9_]*):(\S.*)$`)
	slipEqual = regexp.MustCompile(`^([a-z][a-z0-9_]*)\s*=\s*(.+)$`)
	slipBlock = regexp.MustCompile(`^[|>][-+0-9]*\s*(?:#.*)?$`)
)

// line looks for a slip in one line.
func (r *slipReader) line(n int) (slip, bool) {
	b := r.lines[n]
	text := strings.TrimRight(string(b), " \t\r")
	body := strings.TrimLeftFunc(text, unicode.IsSpace)
	indent := len(text) - len(body)
	if !r.begun {
		r.begun, r.block = true, -1
	}
	if body == "" || r.block < 0 && body[0] == '#' {
		return slip{}, false
	}
	if i := strings.IndexFunc(text[:indent], func(c rune) bool { return c != ' ' }); i >= 0 {
		c, _ := utf8.DecodeRuneInString(text[i:])
		if c == '\t' {
			return slip{n, i, "a tab indents the line; indent with spaces"}, true
		}
		return slip{n, i, fmt.Sprintf("the line is indented with U+%04X, which looks like a space and is none; indent with spaces", c)}, true
	}
	if r.block >= 0 {
		if indent > r.block {
			r.filled = true
			return slip{}, false
		}
		r.block = -1
		if !r.filled && !slipKey.MatchString(body) {
			return slip{n, indent, fmt.Sprintf("the text %q belongs to the line above and is not indented; indent it by two spaces more, or write it behind the key", specdata.Shorten(body))}, true
		}
	}
	if body == "---" || body == "..." {
		r.indents, r.full = nil, false
		return slip{}, false
	}
	if s, ok := r.indented(n, indent); ok {
		return s, true
	}
	offset := indent
	for {
		if strings.HasPrefix(body, "-") && len(body) > 1 && strings.ContainsRune("{[\"'", rune(body[1])) {
			return slip{n, offset, "a space is missing behind the dash; write \"- " + specdata.Shorten(body[1:]) + "\""}, true
		}
		rest, ok := strings.CutPrefix(body, "- ")
		if !ok {
			break
		}
		rest = strings.TrimLeft(rest, " ")
		offset += len(body) - len(rest)
		body = rest
		r.indents = append(r.indents, offset)
	}
	if body == "-" {
		r.full = false
		return slip{}, false
	}
	key := slipKey.FindStringSubmatchIndex(body)
	if key == nil {
		r.full = true
		return r.bare(n, offset, body)
	}
	name, value := body[key[2]:key[3]], ""
	if key[6] >= 0 {
		value = body[key[6]:key[7]]
		offset += key[6]
	}
	value = strings.TrimSpace(value)
	r.full = value != "" && value[0] != '#'
	if !r.full {
		return slip{}, false
	}
	if slipBlock.MatchString(value) {
		r.block, r.full, r.filled = indent, false, false
		return slip{}, false
	}
	return r.value(n, offset, name, value)
}

// indented holds the indentation of a line against those above it.
func (r *slipReader) indented(n, indent int) (slip, bool) {
	last := -1
	if len(r.indents) > 0 {
		last = r.indents[len(r.indents)-1]
	}
	switch {
	case indent > last && r.full:
		return slip{n, 0, fmt.Sprintf("the line is indented by %s, deeper than the line above, which has its value already; indent it like the keys it belongs to (%s)", spaces(indent), r.known())}, true
	case indent > last:
		r.indents = append(r.indents, indent)
	case indent < last:
		known := r.known()
		for len(r.indents) > 0 && r.indents[len(r.indents)-1] > indent {
			r.indents = r.indents[:len(r.indents)-1]
		}
		if len(r.indents) == 0 || r.indents[len(r.indents)-1] != indent {
			return slip{n, 0, fmt.Sprintf("the line is indented by %s, and no line above it that it could belong with is; indent it like the keys it belongs to (%s)", spaces(indent), known)}, true
		}
	}
	return slip{}, false
}

func spaces(n int) string {
	if n == 1 {
		return "1 space"
	}
	return fmt.Sprintf("%d spaces", n)
}

// known lists the indentations that a line may have.
func (r *slipReader) known() string {
	is := slices.Clone(r.indents)
	slices.Sort(is)
	is = slices.Compact(is)
	out := make([]string, len(is))
	for i, n := range is {
		out[i] = fmt.Sprint(n)
	}
	return strings.Join(out, " or ")
}

// bare looks at a line that has no key, or seems to have none.
func (r *slipReader) bare(n, offset int, body string) (slip, bool) {
	if m := slipTight.FindStringSubmatch(body); m != nil && n >= r.stop-1 && !strings.Contains(m[1], " ") {
		return slip{n, offset + len(m[1]) + 1, fmt.Sprintf("a space is missing behind the colon; write \"%s: %s\"", m[1], specdata.Shorten(m[2]))}, true
	}
	if m := slipEqual.FindStringSubmatch(body); m != nil {
		return slip{n, offset, fmt.Sprintf("a value stands behind a colon; write \"%s: %s\"", m[1], specdata.Shorten(m[2]))}, true
	}
	if s, ok := r.value(n, offset, "", body); ok {
		return s, true
	}
	if word, rest, ok := strings.Cut(body, " "); n >= r.stop-1 && len(r.indents) == 1 && specdata.ValidID(strings.ReplaceAll(word, "_", "-")) {
		if !ok {
			return slip{n, offset, fmt.Sprintf("%q stands without a colon and a value; write \"%s: \" and the value behind it", word, word)}, true
		}
		return slip{n, offset, fmt.Sprintf("a colon is missing; write \"%s: %s\", or indent the line where it goes on with the text above", word, specdata.Shorten(rest))}, true
	}
	return slip{}, false
}

// value looks at what stands behind a key or a dash.
func (r *slipReader) value(n, offset int, name, v string) (slip, bool) {
	at := func(i int, format string, args ...any) (slip, bool) {
		return slip{n, offset + i, fmt.Sprintf(format, args...)}, true
	}
	of := ""
	if name != "" {
		of = " of " + name
	}
	switch v[0] {
	case '"', '\'':
		return r.quotedValue(n, offset, of, v)
	case '{', '[':
		return r.flowValue(n, offset, of, v)
	case '@', '`', '%':
		return at(0, "text%s begins with %c, which YAML keeps for itself; put it in quotes: %s", of, v[0], inQuotes(v))
	case '*', '&', '!':
		return at(0, "text%s begins with %c, which has a meaning of its own in YAML; put it in quotes: %s", of, v[0], inQuotes(v))
	case '|', '>':
		return at(0, "text%s begins with %c, behind which YAML wants the text on the next lines; put it in quotes: %s", of, v[0], inQuotes(v))
	case '-':
		if strings.HasPrefix(v, "- ") && name != "" {
			return at(0, "a list entry stands on the line of its key; put each entry on a line of its own, or take the dash out: \"%s: %s\"", name, specdata.Shorten(strings.TrimLeft(v[2:], " ")))
		}
	}
	plain, _, _ := strings.Cut(v, " #")
	if i := strings.Index(plain, ": "); i >= 0 || strings.HasSuffix(plain, ":") {
		if i < 0 {
			i = len(plain) - 1
		}
		if name == "" {
			return at(i, "text %q holds a colon and a space, which make it a key; put the text in quotes: %s", specdata.Shorten(plain), inQuotes(plain))
		}
		return at(i, "text%s holds a colon and a space, which make it a key; put the text in quotes: %s: %s; where two keys stand on one line, give each its own", of, name, inQuotes(plain))
	}
	return slip{}, false
}

// quotedValue looks at a text in quotes.
func (r *slipReader) quotedValue(n, offset int, of, v string) (slip, bool) {
	quote := v[0]
	for i := 1; i < len(v); i++ {
		switch {
		case quote == '"' && v[i] == '\\':
			if i+1 < len(v) && strings.IndexByte("0abt\tnvfre \"/\\N_LPxuU", v[i+1]) < 0 {
				return slip{n, offset + i, fmt.Sprintf("a backslash in double quotes begins an escape, and \\%c is none; write \\\\, or put the text in single quotes", v[i+1])}, true
			}
			i++
		case v[i] != quote:
		case quote == '\'' && i+1 < len(v) && v[i+1] == quote:
			i++
		default:
			rest := strings.TrimSpace(v[i+1:])
			if rest == "" || rest[0] == '#' || rest[0] == ':' {
				return slip{}, false
			}
			whole, mend := strings.TrimSpace(v), ""
			if whole[len(whole)-1] == quote {
				whole = whole[1 : len(whole)-1]
			} else {
				whole = strings.ReplaceAll(whole, string(quote), "")
			}
			if quote == '\'' {
				mend = inQuotes(whole)
			} else {
				mend = "'" + strings.ReplaceAll(specdata.Shorten(whole), "'", "''") + "'"
			}
			return slip{n, offset + i, fmt.Sprintf("the text%s ends at this quote, and more stands behind it; put the whole into quotes of the other kind: %s", of, mend)}, true
		}
	}
	v = strings.TrimRight(v, "\"' ")
	return slip{n, offset, fmt.Sprintf("the quote that opens the text%s is not closed on its line; close it: %s", of, specdata.Shorten(v)+string(quote))}, true
}

// flowValue looks at a value in braces or brackets.
func (r *slipReader) flowValue(n, offset int, of, v string) (slip, bool) {
	var open []byte
	var places []int
	entry, colons := 0, 0
	for i := 0; i < len(v); i++ {
		c := v[i]
		switch c {
		case '"', '\'':
			if prev := strings.TrimRight(v[:i], " "); prev != "" && strings.IndexByte("[{,:", prev[len(prev)-1]) < 0 {
				continue // in the middle of a text
			}
			end := strings.IndexByte(v[i+1:], c)
			if end < 0 {
				return slip{n, offset + i, fmt.Sprintf("the quote that opens this text%s is not closed on its line", of)}, true
			}
			i += end + 1
		case '{', '[':
			open, places = append(open, c), append(places, i)
			entry, colons = i+1, 0
		case '}', ']':
			if len(open) == 0 {
				continue
			}
			if want := closingOf(open[len(open)-1]); c != want {
				return slip{n, offset + i, fmt.Sprintf("%c is closed by %c; close it by %c", open[len(open)-1], c, want)}, true
			}
			open, places = open[:len(open)-1], places[:len(places)-1]
			colons = 0
			if len(open) > 0 {
				continue
			}
			rest := strings.TrimSpace(v[i+1:])
			if rest == "" || rest[0] == '#' || rest[0] == ':' {
				return slip{}, false
			}
			return slip{n, offset, fmt.Sprintf("text%s begins with %c, which begins a list or an object in YAML; put it in quotes: %s", of, v[0], inQuotes(v))}, true
		case ',':
			entry, colons = i+1, 0
		case '#':
			if v[i-1] == ' ' && len(open) > 0 {
				return slip{n, offset + i, fmt.Sprintf("the rest of the line, %q, is a comment to YAML, and the %c that closes the value with it; put the comment behind it", specdata.Shorten(v[i:]), closingOf(open[len(open)-1]))}, true
			}
		case ';':
			return slip{n, offset + i, "entries are parted by commas, not by semicolons"}, true
		case ':':
			if i+1 < len(v) && v[i+1] != ' ' || len(open) == 0 || open[len(open)-1] != '{' {
				continue
			}
			if colons++; colons == 2 {
				said := strings.TrimSpace(v[entry:])
				if end := strings.IndexAny(said, ",}"); end >= 0 {
					said = said[:end]
				}
				return slip{n, offset + i, fmt.Sprintf("between braces %q has two colons; a comma is missing, or the text belongs in quotes", specdata.Shorten(said))}, true
			}
		}
	}
	// A list or an object may go on below; this one is where the library got stuck.
	if n == r.opened || n == r.stop || !r.closedBelow(n, closingOf(open[len(open)-1])) {
		i := places[len(places)-1]
		return slip{n, offset + i, fmt.Sprintf("%c is opened here and not closed; close it by %c", v[i], closingOf(v[i]))}, true
	}
	return slip{}, false
}

// closedBelow reports whether a bracket or brace stands anywhere below a line.
func (r *slipReader) closedBelow(n int, c byte) bool {
	return slices.ContainsFunc(r.lines[n+1:], func(b []byte) bool { return bytes.IndexByte(b, c) >= 0 })
}

func closingOf(c byte) byte {
	if c == '{' {
		return '}'
	}
	return ']'
}

// inQuotes writes a text as an editor would in quotes.
func inQuotes(s string) string {
	s = specdata.Shorten(s)
	if strings.ContainsAny(s, `"\`) {
		return "'" + strings.ReplaceAll(s, "'", "''") + "'"
	}
	return `"` + s + `"`
}

func indentOf(b []byte) int { return len(b) - len(bytes.TrimLeft(b, " ")) }

func excerpt(b []byte) string { return specdata.Shorten(strings.TrimSpace(string(b))) }
