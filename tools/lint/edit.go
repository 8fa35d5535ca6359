package lint

import (
	"bytes"
	"cmp"
	"encoding/json"
	"slices"
	"strings"
	"unicode/utf8"

	"proofload/specdata"
	"proofload/specdata/document"
)

// Edit replaces a stretch of a file. Lines and columns count from 1, columns in
// Unicode code points; the end is behind the last character replaced.
type Edit struct {
	Line, Column, EndLine, EndColumn int
	Text                             string
}

// TextEdits returns the edits of a file's text that carry a fix out and leave
// everything else as it is: comments, order, quoting. It returns nil where there
// are none: the file cannot be read, the fix adds something, or what it changes
// shares its lines with something else. What it returns has been tried: the edited
// text reads as the fixed document.
func TextEdits(file string, data []byte, fix []specdata.Change) []Edit {
	doc, _ := document.Read(file, data)
	if doc == nil {
		return nil
	}
	lines := strings.Split(string(data), "\n")
	values := decoded{canonical: doc.Canonical}
	var edits []Edit
	for _, c := range fix {
		pos := doc.Locate(c.Path)
		if pos.Line < 1 || pos.Line > len(lines) {
			return nil
		}
		switch c.Op {
		case "test":
		case "remove":
			edits = append(edits, removeLines(lines, pos.Line))
		case "replace":
			old, _ := values.lookUp(c.Path)
			e, ok := replaceScalar(lines[pos.Line-1], pos, old, c.Value)
			if !ok {
				return nil
			}
			edits = append(edits, e)
		default:
			return nil
		}
	}
	slices.SortFunc(edits, func(a, b Edit) int { return cmp.Or(a.Line-b.Line, a.Column-b.Column) })
	want, err := patch(doc.Canonical, fix)
	if err != nil {
		return nil
	}
	if want, err = document.Canonicalize(want); err != nil {
		return nil
	}
	after, _ := document.Read(file, ApplyEdits(data, edits))
	if after == nil || !bytes.Equal(after.Canonical, want) {
		return nil
	}
	return edits
}

// removeLines takes out the line that something begins on and the lines indented
// below it.
func removeLines(lines []string, line int) Edit {
	depth := indent(lines[line-1])
	end := line + 1
	for end < len(lines) && strings.TrimSpace(lines[end-1]) != "" && indent(lines[end-1]) > depth {
		end++
	}
	return Edit{Line: line, Column: 1, EndLine: end, EndColumn: 1}
}

func indent(line string) int { return len(line) - len(strings.TrimLeft(line, " ")) }

// replaceScalar returns the edit that puts a new value in place of the scalar that
// begins at a position.
func replaceScalar(line string, pos specdata.Position, old, new string) (Edit, bool) {
	runes := []rune(line)
	if pos.Column < 1 || pos.Column > len(runes) {
		return Edit{}, false
	}
	rest := string(runes[pos.Column-1:])
	e := Edit{Line: pos.Line, Column: pos.Column, EndLine: pos.Line, Text: new}
	switch rest[0] {
	case '"', '\'':
		n := closingQuote(rest)
		if n < 0 {
			return Edit{}, false
		}
		e.EndColumn = pos.Column + utf8.RuneCountInString(rest[:n])
		e.Text = quoted(new)
	default:
		if !strings.HasPrefix(rest, old) {
			return Edit{}, false
		}
		e.EndColumn = pos.Column + utf8.RuneCountInString(old)
		if !plainSafe(new) {
			e.Text = quoted(new)
		}
	}
	return e, true
}

// closingQuote returns the index behind the quote that closes the one s begins with, -1 if none does.
func closingQuote(s string) int {
	for i := 1; i < len(s); i++ {
		switch {
		case s[0] == '"' && s[i] == '\\':
			i++
		case s[i] == s[0] && s[0] == '\'' && i+1 < len(s) && s[i+1] == '\'':
			i++
		case s[i] == s[0]:
			return i + 1
		}
	}
	return -1
}

// quoted writes a string as JSON does, which YAML reads alike.
func quoted(s string) string {
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if enc.Encode(s) != nil {
		return ""
	}
	return strings.TrimSuffix(b.String(), "\n")
}

// plainSafe says whether a value may stand bare: it begins with a letter, or is a
// number and a unit, and holds nothing that YAML gives a meaning.
func plainSafe(s string) bool {
	if s == "" || strings.HasSuffix(s, " ") || slices.Contains(words, strings.ToLower(s)) {
		return false
	}
	for _, r := range s {
		if r < '0' && !strings.ContainsRune(" .-/+%", r) || r > '9' && r < 'A' || r > 'z' || strings.ContainsRune("[]\\^`", r) {
			return false
		}
	}
	first := s[0]
	letter := 'a' <= first|0x20 && first|0x20 <= 'z'
	_, err := specdata.ParseQuantity(s)
	return err == nil || letter
}

// words are what YAML 1.1 or 1.2 reads as something else than text.
var words = []string{"y", "n", "yes", "no", "on", "off", "true", "false", "null"}

// ApplyEdits carries out edits that are in order and do not overlap.
func ApplyEdits(data []byte, edits []Edit) []byte {
	lines := strings.SplitAfter(string(data), "\n")
	offset := func(line, column int) int {
		n := 0
		for _, l := range lines[:min(line-1, len(lines))] {
			n += len(l)
		}
		if line <= len(lines) {
			l := []rune(lines[line-1])
			n += len(string(l[:min(column-1, len(l))]))
		}
		return n
	}
	text := string(data)
	for _, e := range slices.Backward(edits) {
		text = text[:offset(e.Line, e.Column)] + e.Text + text[offset(e.EndLine, e.EndColumn):]
	}
	return []byte(text)
}
