package document

import (
	"bytes"

	"go.yaml.in/yaml/v4"
)

// continued refuses a quoted text, or a list in brackets or object in braces, that goes
// on in a line indented no deeper than what it belongs to: YAML 1.2 (8.1, 7.4) wants
// it deeper, the YAML library does not ask. column is that of the key or the dash.
func (y *yamlReader) continued(v *yaml.Node, line, column int) {
	if v.Kind == yaml.AliasNode || v.Line < 1 || v.Line > len(y.cursor.lines) {
		return
	}
	lines, first := y.cursor.lines, v.Line-1
	last := first
	block := v.Kind != yaml.ScalarNode && v.Style&yaml.FlowStyle == 0
	if !block && (v.Kind != yaml.ScalarNode || v.Value != "" || v.Style != 0) && v.Line > line && v.Column <= column {
		y.say(RuleSyntax, "", int32(v.Line), int32(v.Column), "", "a value begins here that is not indented deeper than its key in line %d; indent it", line)
		y.partial = true
		return
	}
	if len(bytes.TrimSpace(bytes.Join(lines[first+1:min(first+2, len(lines))], nil))) == 0 && first+2 >= len(lines) {
		return // nothing below that it could go on in
	}
	switch {
	case v.Kind == yaml.ScalarNode && v.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0:
		last, _ = closing(lines, first, y.cursor.at(v.Line, v.Column), v.Style)
	case v.Kind != yaml.ScalarNode && v.Style&yaml.FlowStyle != 0:
		if last = flowEnd(lines, first, y.cursor.at(v.Line, v.Column)); last >= len(lines) {
			return
		}
	}
	for n := first + 1; n <= last && n < len(lines); n++ {
		text := bytes.TrimLeft(lines[n], " ")
		if len(bytes.TrimSpace(text)) > 0 && len(lines[n])-len(text) < column {
			y.say(RuleSyntax, "", int32(n+1), 1, "", "the line goes on with what was opened in line %d and is not indented deeper than its key; indent it, or close what is open", first+1)
			y.partial = true
			return
		}
	}
}

// flowEnd returns the line in which a bracket or brace that opens at a place is closed.
func flowEnd(lines [][]byte, line, offset int) int {
	depth := 0
	before, solid := byte(' '), byte('[') // the character before, and the last that is no space
	quoted := false                       // a quoted key stands before the colon
	for line < len(lines) {
		b := lines[line]
		for offset < len(b) {
			c := b[offset]
			switch {
			case c == '#' && (before == ' ' || before == '\t'):
				offset = len(b)
				continue
			case (c == '"' || c == '\'') && bytes.IndexByte([]byte("[{,:"), solid) >= 0 && (solid != ':' || before == ' ' || quoted):
				style := yaml.SingleQuotedStyle
				if c == '"' {
					style = yaml.DoubleQuotedStyle
				}
				line, offset = closing(lines, line, offset, style)
				if line >= len(lines) {
					return line
				}
				b, before, solid, quoted = lines[line], c, c, true
				continue
			case c == '[' || c == '{':
				depth++
			case c == ']' || c == '}':
				if depth--; depth == 0 {
					return line
				}
			}
			if before = c; c != ' ' && c != '\t' {
				if c != ':' {
					quoted = false
				}
				solid = c
			}
			offset++
		}
		line, offset, before = line+1, 0, ' '
	}
	return line
}
