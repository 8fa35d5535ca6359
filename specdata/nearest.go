package specdata

import (
	"iter"
	"unicode/utf8"
)

// Nearest returns the candidate that someone who typed s most likely meant, "" when
// none is near enough to be worth a suggestion. Near is a Damerau-Levenshtein
// distance (one letter put in, left out, replaced, or swapped with its neighbour)
// of at most a quarter of the letters, and at least one. Among equally near
// candidates it is the first in byte order, so that the same input always gives
// the same suggestion.
func Nearest(s string, candidates iter.Seq[string]) string {
	best, bestDistance := "", max(1, utf8.RuneCountInString(s)/4)+1
	var d distance
	for c := range candidates {
		if c == s || c == "" {
			continue
		}
		n := d.between(s, c, bestDistance)
		if n < bestDistance || n == bestDistance && best != "" && c < best {
			best, bestDistance = c, n
		}
	}
	return best
}

// DidYouMean returns the part of a message that suggests the nearest candidate, with
// a space before it (` (did you mean "disc"?)`), "" when there is none.
func DidYouMean(s string, candidates iter.Seq[string]) string {
	if near := Nearest(s, candidates); near != "" {
		return ` (did you mean "` + near + `"?)`
	}
	return ""
}

// distance keeps its rows between calls, because a misspelt id is compared with
// every id of a large library.
type distance struct {
	a, b           []rune
	two, one, this []int
}

// between returns the optimal string alignment distance of two strings, or some
// number above limit as soon as it is clear that it is above.
func (d *distance) between(s, t string, limit int) int {
	d.a = appendRunes(d.a[:0], s)
	d.b = appendRunes(d.b[:0], t)
	if n := len(d.a) - len(d.b); n > limit || -n > limit {
		return limit + 1
	}
	width := len(d.b) + 1
	if cap(d.this) < width {
		d.two, d.one, d.this = make([]int, width), make([]int, width), make([]int, width)
	}
	two, one, this := d.two[:width], d.one[:width], d.this[:width]
	for j := range one {
		one[j] = j
	}
	for i, x := range d.a {
		this[0] = i + 1
		least := this[0]
		for j, y := range d.b {
			n := one[j]
			if x != y {
				n = 1 + min(one[j], one[j+1], this[j])
				if i > 0 && j > 0 && x == d.b[j-1] && d.a[i-1] == y {
					n = min(n, two[j-1]+1)
				}
			}
			this[j+1] = n
			least = min(least, n)
		}
		if least > limit {
			return limit + 1
		}
		two, one, this = one, this, two
	}
	return one[len(d.b)]
}

func appendRunes(rs []rune, s string) []rune {
	for _, r := range s {
		rs = append(rs, r)
	}
	return rs
}
