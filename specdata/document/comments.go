package document

import (
	"bytes"
	"slices"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v4"

	"proofload/specdata"
	"proofload/specdata/document/scalar"
)

// span is where a quoted or block scalar begins; number signs inside it begin no comment.
type span struct {
	line, column int
	style        yaml.Style
}

// comments finds the comments of a YAML text. The YAML library hands comments to
// nodes near them and loses their lines, so they are found here: a number sign at
// the start of a line or behind a space, outside quoted and block scalars. Plain
// scalars cannot hold one.
func comments(lines [][]byte, spans []span) []Comment {
	slices.SortFunc(spans, func(a, b span) int {
		if a.line != b.line {
			return a.line - b.line
		}
		return a.column - b.column
	})
	var out []Comment
	line, offset := 0, 0
	places := cursor{lines: lines}
	take := func(to int) { // takes a comment of the current line before an offset
		b := lines[line]
		for i := offset; i < to; i++ {
			if b[i] == '#' && (i == 0 || b[i-1] == ' ' || b[i-1] == '\t') {
				out = append(out, Comment{Line: line + 1, Text: string(bytes.TrimSpace(b[i+1:])), offset: i})
				offset = len(b)
				return
			}
		}
		offset = to
	}
	advance := func(to int) { // goes to the start of a line
		for line < to {
			if line < len(lines) && offset <= len(lines[line]) {
				take(len(lines[line]))
			}
			line, offset = line+1, 0
		}
	}
	for _, s := range spans {
		advance(s.line - 1)
		if line >= len(lines) {
			break
		}
		start := places.at(s.line, s.column)
		take(max(start, offset))
		if s.style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0 {
			head := line
			advance(line + 1) // the header may carry a comment
			indent := -1
			for line < len(lines) {
				b := lines[line]
				if text := bytes.TrimLeft(b, " "); len(bytes.TrimSpace(text)) > 0 {
					in := len(b) - len(text)
					if indent < 0 {
						indent = max(in, leading(lines[head])+1)
					}
					if in < indent {
						break
					}
				}
				line++
			}
			offset = 0
			continue
		}
		line, offset = closing(lines, line, start, s.style)
	}
	advance(len(lines))
	return out
}

func leading(b []byte) int { return len(b) - len(bytes.TrimLeft(b, " ")) }

// closing returns the place behind the closing quote of a scalar that opens at a place.
func closing(lines [][]byte, line, offset int, style yaml.Style) (int, int) {
	double := style&yaml.DoubleQuotedStyle != 0
	i := offset + 1
	for line < len(lines) {
		b := lines[line]
		for i < len(b) {
			switch {
			case double && b[i] == '\\':
				i++
			case double && b[i] == '"':
				return line, i + 1
			case !double && b[i] == '\'':
				if i+1 >= len(b) || b[i+1] != '\'' {
					return line, i + 1
				}
				i++
			}
			i++
		}
		line, i = line+1, 0
	}
	return line, 0
}

// cuts reports the comments that cut a text short.
func (r *reader) cuts(lines [][]byte, cs []Comment) {
	for _, c := range cs {
		b := lines[c.Line-1]
		before, behind := bytes.TrimRight(b[:c.offset], " \t"), string(b[c.offset+1:])
		if len(before) == 0 || bytes.IndexByte([]byte("\"'}]|>,[{"), before[len(before)-1]) >= 0 || !scalar.CutsText(strings.TrimRight(behind, "\r")) {
			continue
		}
		mend := "put a space behind the number sign"
		if behind[0] == ' ' || behind[0] == '\t' {
			mend = "put the comment on a line of its own"
		}
		r.say(RulePlainYAML, "", int32(c.Line), int32(utf8.RuneCount(b[:c.offset])+1), specdata.Shorten("#"+behind),
			"the rest of the line, %q, is a comment to YAML and no part of the value; put the value in quotes if it belongs to it, otherwise %s", specdata.Shorten("#"+strings.TrimSpace(behind)), mend)
	}
}
