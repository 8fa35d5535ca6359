// Package scalar decides what a YAML scalar without quotes means, and which numbers a
// document may hold. Every reader of documents asks it, so that they cannot differ.
package scalar

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Kind is the JSON type of a value.
type Kind uint8

// The kinds of value. Unclear is a plain scalar that YAML readers differ about.
const (
	Null Kind = iota
	Boolean
	Number
	Text
	List
	Object
	Unclear Kind = 0xff
)

const (
	// MaxNumber is the length of a number literal, in bytes.
	MaxNumber = 32
	// MaxExponent bounds the power of ten of a number either way, because a short
	// literal can name a number that takes minutes to compute with.
	MaxExponent = 30
)

// Meaning returns what a scalar without quotes is.
func Meaning(v string) Kind {
	switch {
	case v == "true" || v == "false":
		return Boolean
	case v == "null" || v == "":
		return Null
	case IsNumber(v):
		return Number
	case isAmbiguous(v):
		return Unclear
	}
	return Text
}

// ambiguousNumber is what YAML readers of one version or another take for a number,
// in a form that JSON does not have.
var ambiguousNumber = regexp.MustCompile(`^(?:[-+]?0[0-9_]+|[-+]?0[xX][0-9a-fA-F_]+|[-+]?0[bB][01_]+|[-+]?0[oO][0-7_]+` +
	`|[-+]?[0-9][0-9_]*(?::[0-5]?[0-9])+(?:\.[0-9_]*)?` +
	`|[-+]?[0-9][0-9_]*(?:\.[0-9_]*)?(?:[eE][-+]?[0-9]+)?|[-+]?\.[0-9_]+(?:[eE][-+]?[0-9]+)?` +
	`|[-+]?\.(?i:inf)|\.(?i:nan))$`)

// isAmbiguous reports whether YAML readers of one version or another take text for
// a truth value, nothing, or a number in a form that JSON does not have.
func isAmbiguous(v string) bool {
	if c := v[0] | 0x20; c >= 'a' && c <= 'z' {
		if len(v) <= len("false") {
			switch strings.ToLower(v) {
			case "y", "n", "yes", "no", "on", "off", "true", "false", "null":
				return true
			}
		}
		return false
	}
	if v[0] >= utf8.RuneSelf || strings.IndexByte(v, ' ') >= 0 {
		return false
	}
	return v == "~" || v == "=" || ambiguousNumber.MatchString(v)
}

// TypographicQuotes are the quotation marks of print.
const TypographicQuotes = "“”„‟‘’‚‛«»‹›"

// Typographic reports whether a text begins and ends with quotation marks of print.
func Typographic(v string) bool {
	first, n := utf8.DecodeRuneInString(v)
	last, _ := utf8.DecodeLastRuneInString(v)
	return len(v) > n && strings.ContainsRune(TypographicQuotes, first) && strings.ContainsRune(TypographicQuotes, last)
}

// IsNumber reports whether s is a number of the JSON grammar.
func IsNumber(s string) bool {
	s = strings.TrimPrefix(s, "-")
	digits := func() bool {
		i := 0
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
		}
		s = s[i:]
		return i > 0
	}
	if strings.HasPrefix(s, "0") {
		s = s[1:]
	} else if !digits() {
		return false
	}
	if strings.HasPrefix(s, ".") {
		s = s[1:]
		if !digits() {
			return false
		}
	}
	if s != "" && (s[0] == 'e' || s[0] == 'E') {
		s = s[1:]
		if s != "" && (s[0] == '+' || s[0] == '-') {
			s = s[1:]
		}
		if !digits() {
			return false
		}
	}
	return s == ""
}

// CheckNumber returns what is wrong with a number literal of the JSON grammar, "" if
// nothing.
func CheckNumber(lit string) string {
	if len(lit) > MaxNumber {
		return "number has " + strconv.Itoa(len(lit)) + " characters; allowed: " + strconv.Itoa(MaxNumber)
	}
	mantissa, exp, ok := strings.Cut(strings.ToLower(lit), "e")
	if ok {
		if e, err := strconv.Atoi(exp); err != nil || e > MaxExponent || e < -MaxExponent {
			return "number " + lit + " has an exponent beyond ±" + strconv.Itoa(MaxExponent) + "; write it out"
		}
		return ""
	}
	if len(mantissa) >= len("9007199254740993") && !strings.Contains(mantissa, ".") {
		if b, err := AppendNumber(nil, lit); err != nil || string(b) != lit {
			return "number " + lit + " is beyond the whole numbers every reader keeps exactly (2^53, RFC 7493)"
		}
	}
	return ""
}

// AppendNumber appends a number as ECMAScript writes it (RFC 8785, 3.2.2.3): the
// shortest digits that read back to the same double. It returns an error for a number
// beyond what a double holds.
func AppendNumber(b []byte, lit string) ([]byte, error) {
	f, err := strconv.ParseFloat(lit, 64)
	if err != nil || math.IsInf(f, 0) {
		return nil, fmt.Errorf("number %s is beyond what a double holds", lit)
	}
	if f == 0 {
		return append(b, '0'), nil
	}
	if a := math.Abs(f); a >= 1e-6 && a < 1e21 {
		return strconv.AppendFloat(b, f, 'f', -1, 64), nil
	}
	start := len(b)
	b = strconv.AppendFloat(b, f, 'e', -1, 64)
	// Go writes at least two digits of exponent, ECMAScript as many as it takes.
	for i := start; i < len(b); i++ {
		if b[i] == 'e' && b[i+2] == '0' {
			b = slices.Delete(b, i+2, i+3)
		}
	}
	return b, nil
}

// CutsText reports whether a number sign behind a value more likely belongs to it: the
// "#2" and the "# 2" of a shop are the ends of a name, and the rest of the line to YAML.
func CutsText(behind string) bool {
	rest := strings.TrimLeft(behind, " \t")
	return rest != "" && (rest == behind || rest[0] >= '0' && rest[0] <= '9')
}
