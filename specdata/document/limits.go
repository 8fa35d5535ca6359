package document

import (
	"bytes"
	"fmt"
	"strconv"
	"unicode/utf8"

	"proofload/specdata"
)

// The limits on any document, from whichever side it comes. They bound what the
// steps after reading may cost.
const (
	// MaxBytes is the size of a document.
	MaxBytes = 1 << 20
	// MaxDepth is how deep objects and lists may nest.
	MaxDepth = 64
	// MaxKeys is the number of keys in all objects together.
	MaxKeys = 10_000
	// MaxValues is the number of values in all, objects and lists included.
	MaxValues = 20_000
	// MaxItems is the number of entries of one list.
	MaxItems = 1_000
	// MaxMarks is the number of lines, colons, commas and opening brackets in YAML
	// text, and MaxLine the size of one line: the YAML library needs a microsecond
	// and more for each mark, and its time for one line grows faster than the line.
	MaxMarks = 30_000
	MaxLine  = 2 * MaxString
	// MaxString is the size of one string, in bytes.
	MaxString = 64 << 10
)

// itBegins says how a record begins.
const itBegins = "a record begins with \"kind: \" and one of vehicle, fastener, assembly, procedure, source; proofload new writes one"

// scan refuses bytes that no format may hold. It reports whether reading can go on.
func (r *reader) scan(data []byte) bool {
	switch {
	case len(data) > MaxBytes:
		r.say(RuleLimits, "", 1, 1, "", "document has %d bytes; allowed: %d", len(data), MaxBytes)
	case bytes.HasPrefix(data, []byte("\xef\xbb\xbf")):
		r.say(RuleSyntax, "", 1, 1, "U+FEFF", "document begins with a byte order mark; save it as UTF-8 without one")
	case !utf8.Valid(data):
		i := 0
		for i < len(data) {
			c, n := utf8.DecodeRune(data[i:])
			if c == utf8.RuneError && n == 1 {
				break
			}
			i += n
		}
		line, column := place(data, i)
		r.say(RuleSyntax, "", line, column, "0x"+strconv.FormatUint(uint64(data[i]), 16), "document is not UTF-8 here; save it as UTF-8")
	case bytes.IndexByte(data, 0) >= 0:
		line, column := place(data, bytes.IndexByte(data, 0))
		r.say(RuleSyntax, "", line, column, "U+0000", "document holds a NUL character; remove it")
	case len(bytes.TrimSpace(data)) == 0:
		r.say(RuleSyntax, "", 1, 1, "", "document is empty; "+itBegins)
	default:
		return true
	}
	return false
}

// unseen reports a character that the people who review a document do not see, or
// see as something else, wherever it is: in a value, in a comment, between them.
func (r *reader) unseen(data []byte) bool {
	c, offset, ok := specdata.Unseen(data)
	if !ok {
		return false
	}
	line, column := place(data, offset)
	r.say(RuleSyntax, "", line, column, fmt.Sprintf("U+%04X", c), "document holds %s", specdata.UnseenMessage(c))
	return true
}

// unseenValues does the same for what escapes put into values and keys.
func (r *reader) unseenValues(n *node, p *trail) {
	found := func(s string, line, column int32, p *trail) {
		if c, _, ok := specdata.Unseen(s); ok {
			r.say(RuleSyntax, p.pointer(), line, column, fmt.Sprintf("U+%04X", c), "%s holds an escape for %s", named(p), specdata.UnseenMessage(c))
		}
	}
	if n.kind == text {
		found(n.text, n.line, n.column, p)
	}
	for i, c := range n.items {
		r.unseenValues(c, &trail{p, "", i})
	}
	for _, m := range n.members {
		at := &trail{p, m.key, -1}
		found(m.key, m.line, m.column, at)
		r.unseenValues(m.value, at)
	}
}

// named says what a value is called.
func named(p *trail) string {
	for ; p != nil; p = p.up {
		if p.index < 0 {
			return specdata.Shorten(p.key)
		}
	}
	return "document"
}

// dense refuses YAML text that would take too long to read.
func (r *reader) dense(data []byte) bool {
	marks, line, start := 0, 1, 0
	for i, c := range data {
		switch c {
		case '\n':
			start = i + 1
			line++
			marks++
		case ':', ',', '[', '{':
			marks++
		}
		if marks > MaxMarks {
			r.say(RuleLimits, "", int32(line), 1, "", "document has more than %d lines, colons, commas and brackets", MaxMarks)
			return true
		}
		if i-start > MaxLine {
			r.say(RuleLimits, "", int32(line), 1, "", "line has more than %d bytes", MaxLine)
			return true
		}
	}
	return false
}

// place returns line and column of a byte offset.
func place(data []byte, offset int) (line, column int32) {
	start := bytes.LastIndexByte(data[:offset], '\n') + 1
	return int32(bytes.Count(data[:start], []byte("\n")) + 1), int32(utf8.RuneCount(data[start:offset]) + 1)
}
