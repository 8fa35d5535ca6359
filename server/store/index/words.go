package index

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// MaxWords is the most words a search may have.
const MaxWords = 32

// Words tells the words of a text apart: runs of letters and digits, folded to lower
// case and without accents, each once, in the order they stand. A point, stroke or
// hyphen between two digits belongs to the word, so that "M10x1.25", "9/16" and
// "7/16-20" stay whole; × counts as x.
func Words(text string) []string { return appendWords(nil, text) }

func appendWords(words []string, text string) []string {
	text = norm.NFKD.String(text) // gives ASCII back as it is
	var word []byte
	end := func() {
		if len(word) > 0 && !slices.Contains(words, string(word)) {
			words = append(words, string(word))
		}
		word = word[:0]
	}
	before := rune(0)
	for i, r := range text {
		switch {
		case unicode.IsLetter(r) || unicode.IsDigit(r):
			word = utf8.AppendRune(word, unicode.ToLower(r))
		case unicode.Is(unicode.Mn, r):
			// An accent, set apart from its letter by the decomposition.
		case r == '×':
			word = append(word, 'x')
		case isJoint(r) && unicode.IsDigit(before) && startsWithDigit(text[i+utf8.RuneLen(r):]):
			if r == '⁄' { // ½ decomposes to 1⁄2, with a stroke of its own
				r = '/'
			}
			word = utf8.AppendRune(word, r)
		default:
			end()
		}
		before = r
	}
	end()
	return words
}

func isJoint(r rune) bool { return r == '.' || r == '/' || r == '-' || r == '⁄' }

func startsWithDigit(s string) bool {
	r, _ := utf8.DecodeRuneInString(s)
	return unicode.IsDigit(r)
}

// documentWords returns the words that a document of some texts is found by, sorted. A
// thread is also found by its diameter alone: "m10" for "m10x1.25", "7/16" for
// "7/16-20".
func documentWords(texts ...string) []string {
	var words []string
	for _, t := range texts {
		words = appendWords(words, t)
	}
	for _, w := range words {
		if d, ok := diameter(w); ok {
			words = append(words, d)
		}
	}
	slices.Sort(words)
	return slices.Compact(words)
}

func diameter(word string) (string, bool) {
	if d, _, ok := strings.Cut(word, "x"); ok && len(d) > 1 && d[0] == 'm' && isDigits(d[1:]) {
		return d, true
	}
	if d, _, ok := strings.Cut(word, "-"); ok && strings.Contains(d, "/") {
		return d, true
	}
	return "", false
}

func isDigits(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool { return (r < '0' || r > '9') && r != '.' }) < 0
}
