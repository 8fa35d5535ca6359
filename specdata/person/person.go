// Package person says whether two names are of one person, so that nobody is a second
// pair of eyes for themselves by writing their name another way.
package person

import (
	"strings"

	"github.com/mtibben/confusables"
	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"

	"proofload/specdata"
)

// Same reports whether two names look or read the same: equal after compatibility
// normalisation (NFKC, UAX 15), without regard to case, spaces and characters that
// nobody sees, or equal as confusable skeletons (UTS 39, section 4). It takes two people
// with such names for one, which costs a third reviewer; the other error costs a review.
func Same(a, b string) bool {
	if a == b {
		return true
	}
	a, b = plain(a), plain(b)
	return fold(a) == fold(b) ||
		confusables.Skeleton(fold(a)) == confusables.Skeleton(fold(b)) ||
		fold(confusables.Skeleton(a)) == fold(confusables.Skeleton(b))
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

// fold removes case. A dotted capital I folds to i and a combining dot, which some
// languages write and others do not; a dotless one is an i to most eyes.
func fold(s string) string {
	s = norm.NFD.String(cases.Fold().String(s))
	s = strings.ReplaceAll(s, "i\u0307", "i")
	return norm.NFC.String(strings.ReplaceAll(s, "ı", "i"))
}
