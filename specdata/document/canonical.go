package document

import (
	"fmt"
	"slices"
	"unicode/utf16"
	"unicode/utf8"

	"proofload/specdata/document/scalar"
)

// Canonicalize returns the RFC 8785 form of JSON text. The error names the first
// thing that keeps the text from having one, with its place.
func Canonicalize(json []byte) ([]byte, error) {
	r := &reader{}
	if r.scan(json) {
		if root := r.json(json); root != nil && len(r.findings) == 0 {
			return root.canonical(nil)
		}
	}
	f := r.findings[0]
	return nil, fmt.Errorf("line %d column %d: %s", f.Line, f.Column, f.Message)
}

// canonical appends the RFC 8785 form.
func (n *node) canonical(b []byte) ([]byte, error) {
	var err error
	switch n.kind {
	case null:
		return append(b, "null"...), nil
	case boolean:
		return append(b, n.text...), nil
	case number:
		return scalar.AppendNumber(b, n.text)
	case text:
		return appendString(b, n.text), nil
	case list:
		b = append(b, '[')
		for i, v := range n.items {
			if i > 0 {
				b = append(b, ',')
			}
			if b, err = v.canonical(b); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	}
	sorted := make([]*member, len(n.members))
	for i := range n.members {
		sorted[i] = &n.members[i]
	}
	slices.SortFunc(sorted, func(a, b *member) int { return compareKeys(a.key, b.key) })
	b = append(b, '{')
	for i, m := range sorted {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(appendString(b, m.key), ':')
		if b, err = m.value.canonical(b); err != nil {
			return nil, err
		}
	}
	return append(b, '}'), nil
}

// compareKeys orders by UTF-16 code units (RFC 8785, 3.2.3), which differs from the
// order of bytes only where one key has a character beyond U+FFFF.
func compareKeys(a, b string) int {
	for a != "" && b != "" {
		if a[0] == b[0] && a[0] < utf8.RuneSelf {
			a, b = a[1:], b[1:]
			continue
		}
		ra, na := utf8.DecodeRuneInString(a)
		rb, nb := utf8.DecodeRuneInString(b)
		if ra != rb {
			return unit(ra) - unit(rb)
		}
		a, b = a[na:], b[nb:]
	}
	return len(a) - len(b)
}

// unit returns a number that orders characters as their UTF-16 code units do.
func unit(r rune) int {
	if high, low := utf16.EncodeRune(r); high != utf8.RuneError {
		return int(high)<<16 | int(low)
	}
	return int(r) << 16
}

// appendString writes a string with the fewest escapes (RFC 8785, 3.2.2.2).
func appendString(b []byte, s string) []byte {
	b = append(b, '"')
	from := 0
	for i := 0; i < len(s); i++ {
		c := s[i]
		if c >= ' ' && c != '"' && c != '\\' {
			continue
		}
		b = append(b, s[from:i]...)
		from = i + 1
		switch c {
		case '"', '\\':
			b = append(b, '\\', c)
		case '\b':
			b = append(b, `\b`...)
		case '\t':
			b = append(b, `\t`...)
		case '\n':
			b = append(b, `\n`...)
		case '\f':
			b = append(b, `\f`...)
		case '\r':
			b = append(b, `\r`...)
		default:
			const digits = "0123456789abcdef"
			b = append(b, '\\', 'u', '0', '0', digits[c>>4], digits[c&15])
		}
	}
	return append(append(b, s[from:]...), '"')
}
