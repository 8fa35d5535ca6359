package specdata

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// SameWords reports whether two phrases are the same words in the same order,
// however they are written: case, hyphens, punctuation and a plural s do not
// count, and the words to ignore (lower case) may stand in either. "Stub-axle
// collar nuts" and "stub axle collar nut" are the same words.
func SameWords(a, b string, ignore ...string) bool {
	if len(ignore) == 0 && startApart(a, b) {
		return false
	}
	for {
		var x, y string
		x, a = nextWord(a, ignore)
		y, b = nextWord(b, ignore)
		if x == "" || y == "" {
			return x == y
		}
		if !sameWord(x, y) {
			return false
		}
	}
}

// PlainWords returns the words of a phrase in one spelling: phrases that are the same
// words by the measure of SameWords have the same plain words. It is for finding
// among many what SameWords would have to be asked about one by one.
func PlainWords(phrase string) string {
	b := make([]byte, 0, len(phrase))
	for {
		var w string
		if w, phrase = nextWord(phrase, nil); w == "" {
			return string(b)
		}
		if n := len(w); n > 3 && isS(w[n-1]) && !isS(w[n-2]) {
			w = w[:n-1]
		}
		if len(b) > 0 {
			b = append(b, ' ')
		}
		for _, r := range w {
			b = utf8.AppendRune(b, foldRune(r))
		}
	}
}

func isS(c byte) bool { return c == 's' || c == 'S' }

// foldRune returns one letter for all that differ in case.
func foldRune(r rune) rune {
	if r < utf8.RuneSelf {
		return unicode.ToLower(r)
	}
	least := r
	for next := unicode.SimpleFold(r); next != r; next = unicode.SimpleFold(next) {
		least = min(least, next)
	}
	return unicode.ToLower(least)
}

// startApart reports whether two phrases start with different letters or digits,
// which nearly all pairs of a library do.
func startApart(a, b string) bool {
	if a == "" || b == "" || a[0] == b[0] || a[0] >= utf8.RuneSelf || b[0] >= utf8.RuneSelf {
		return false
	}
	return inWord(rune(a[0])) && inWord(rune(b[0])) && a[0]|0x20 != b[0]|0x20
}

// HasWord reports whether a phrase has one of some words (lower case), by the
// measure of SameWords.
func HasWord(phrase string, words ...string) bool {
	for {
		var w string
		if w, phrase = nextWord(phrase, nil); w == "" {
			return false
		}
		for _, want := range words {
			// Nearly all begin otherwise.
			if want != "" && (w[0]|0x20 == want[0]|0x20 || w[0] >= utf8.RuneSelf) && sameWord(w, want) {
				return true
			}
		}
	}
}

// OnlyWords reports whether a phrase has no word but some words (lower case), by
// the measure of SameWords. A phrase without any word has none but those.
func OnlyWords(phrase string, words ...string) bool {
	for {
		w, rest := nextWord(phrase, words)
		if w == "" {
			return true
		}
		known := false
		for _, k := range words {
			known = known || sameWord(w, k)
		}
		if !known {
			return false
		}
		phrase = rest
	}
}

// nextWord cuts the next word that is not ignored off a phrase.
func nextWord(s string, ignore []string) (word, rest string) {
	for {
		i := skip(s, false)
		j := i + skip(s[i:], true)
		if word, s = s[i:j], s[j:]; word == "" {
			return "", ""
		}
		ignored := false
		for _, w := range ignore {
			ignored = ignored || strings.EqualFold(w, word)
		}
		if !ignored {
			return word, s
		}
	}
}

// skip returns the length of the start of a phrase that is in, or not in, a word.
// It runs for every pair of neighbours in a library, so it walks ASCII bytewise.
func skip(s string, word bool) int {
	i := 0
	for i < len(s) {
		if c := s[i]; c < utf8.RuneSelf {
			if asciiWord[c] != word {
				break
			}
			i++
			continue
		}
		r, size := utf8.DecodeRuneInString(s[i:])
		if inWord(r) != word {
			break
		}
		i += size
	}
	return i
}

func inWord(r rune) bool {
	if r < utf8.RuneSelf {
		return asciiWord[r]
	}
	return unicode.IsLetter(r) || unicode.IsDigit(r)
}

// asciiWord tells the characters that words are made of.
var asciiWord = func() (is [utf8.RuneSelf]bool) {
	for c := range is {
		is[c] = 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9'
	}
	return is
}()

// sameWord folds case and a plural s; words of up to three letters have no plural
// here ("gas" is not several "ga").
func sameWord(a, b string) bool {
	if len(a) == len(b) {
		return strings.EqualFold(a, b)
	}
	if len(a) < len(b) {
		a, b = b, a
	}
	return len(b) >= 3 && len(a) == len(b)+1 && isS(a[len(a)-1]) && !isS(b[len(b)-1]) && strings.EqualFold(a[:len(b)], b)
}

// InSentence puts a title into the middle of a sentence: "Disc" becomes "disc",
// "ABS ring" stays.
func InSentence(title string) string {
	if len(title) > 1 && title[0] >= 'A' && title[0] <= 'Z' && title[1] >= 'a' && title[1] <= 'z' {
		return string(title[0]+'a'-'A') + title[1:]
	}
	return title
}
