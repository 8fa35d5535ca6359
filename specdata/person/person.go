// Package person says whether two names are of one person, so that nobody is a second
// pair of eyes for themselves by writing their name another way.
package person

import (
	"strings"
	"unicode"

	"github.com/mtibben/confusables"
	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"proofload/specdata"
)

// Same reports whether two names look or read the same by their letters and digits alone:
// equal after compatibility decomposition (NFKD, UAX 15), or as confusable skeletons
// (UTS 39, section 4), without regard to case, accents, spaces, punctuation, symbols and
// characters that nobody sees. It takes two people with such names for one, which costs
// a third reviewer; the other error costs a review.
func Same(a, b string) bool {
	if a == b {
		return true
	}
	a, b = plain(a), plain(b)
	return same(fold(a), fold(b)) ||
		same(fold(confusables.Skeleton(a)), fold(confusables.Skeleton(b))) ||
		same(fold(confusables.Skeleton(fold(a))), fold(confusables.Skeleton(fold(b))))
}

// same compares by letters and digits, and names without any as they are.
func same(a, b string) bool {
	x, y := letters(a), letters(b)
	if x == "" && y == "" {
		return a == b
	}
	return x == y
}

// plain normalises what has several spellings and drops what has no form.
func plain(s string) string {
	s = strings.Map(func(c rune) rune {
		if _, _, unseen := specdata.Unseen(string(c)); unseen {
			return -1
		}
		return c
	}, norm.NFKC.String(s))
	return strings.Join(strings.Fields(s), " ")
}

// letters keeps the letters and digits of a name. The vowel signs of Indic scripts are
// marks and make other names; accents, which combine with a class above 0, do not.
func letters(s string) string {
	last := rune(0)
	return strings.Map(func(c rune) rune {
		switch {
		case c >= 0x2b0 && c <= 0x2ff: // spacing modifier letters: apostrophes, dots, hooks
			return -1
		case unicode.IsLetter(c), unicode.IsNumber(c),
			last >= 0x900 && unicode.In(c, unicode.Mc, unicode.Mn) && norm.NFD.PropertiesString(string(c)).CCC() == 0:
			last = c
			return c
		}
		return -1
	}, norm.NFKD.String(s))
}

// fold removes case. A dotted capital I folds to i and a combining dot, which some
// languages write and others do not; a dotless one is an i to most eyes.
func fold(s string) string {
	s = norm.NFD.String(cases.Fold().String(s))
	s = strings.ReplaceAll(s, "i\u0307", "i")
	return norm.NFC.String(strings.ReplaceAll(s, "ı", "i"))
}
