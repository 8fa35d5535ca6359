package quick

import (
	"bytes"
	"regexp"
	"strconv"
	"unicode/utf8"
)

// key returns the end of a key; keys with escapes or beyond ASCII are unsure, since
// they sort by other units than bytes.
func key(b []byte, i int) (end int, ok bool) {
	if i >= len(b) || b[i] != '"' {
		return i, false
	}
	end, ascii, ok := stringEnd(b, i)
	return end, ok && ascii
}

// stringEnd returns the end of a canonical string and whether it is ASCII without escapes.
func stringEnd(b []byte, i int) (end int, ascii, ok bool) {
	ascii = true
	for i++; i < len(b); i++ {
		switch c := b[i]; {
		case c == '"':
			return i + 1, ascii, true
		case c == '\\':
			ascii = false
			n := canonicalEscape(b[i:])
			if n == 0 {
				return i, false, false
			}
			i += n - 1
		case c < ' ':
			return i, false, false
		case c >= utf8.RuneSelf:
			ascii = false
		}
	}
	return i, false, false
}

// canonicalEscape returns the length of an escape that RFC 8785 would have written, 0 for any other.
func canonicalEscape(b []byte) int {
	if len(b) < 2 {
		return 0
	}
	switch b[1] {
	case '"', '\\', 'b', 'f', 'n', 'r', 't':
		return 2
	case 'u':
		if len(b) < 6 {
			return 0
		}
		v, err := strconv.ParseUint(string(b[2:6]), 16, 16)
		if err != nil || v == 0 || v >= ' ' || bytes.IndexByte([]byte("\b\f\n\r\t"), byte(v)) >= 0 || !bytes.Equal(b[2:6], bytes.ToLower(b[2:6])) {
			return 0
		}
		return 6
	}
	return 0
}

// calendarDay checks a date whose digits a pattern has found.
func calendarDay(b []byte) bool {
	if len(b) != len("2006-01-02") {
		return false
	}
	two := func(i int) int { return int(b[i]-'0')*10 + int(b[i+1]-'0') }
	year, month, day := two(0)*100+two(2), two(5), two(8)
	if month < 1 || month > 12 || day < 1 {
		return false
	}
	last := [...]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}[month-1]
	if month == 2 && year%4 == 0 && (year%100 != 0 || year%400 == 0) {
		last = 29
	}
	return day <= last
}

// pattern matches ASCII text by a table made of the very expression the schema has.
type pattern struct {
	re    *regexp.Regexp
	table *automaton // nil: too large or with features a table cannot have
}

func newPattern(re *regexp.Regexp) *pattern { return &pattern{re, newAutomaton(re.String())} }

func (p *pattern) match(ascii []byte) bool {
	if p.table != nil {
		return p.table.match(ascii)
	}
	return p.re.Match(ascii)
}
