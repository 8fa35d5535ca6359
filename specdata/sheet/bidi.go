package sheet

import (
	"slices"

	"golang.org/x/text/unicode/bidi"
)

// visual puts a line into the order in which its characters stand on paper from left to
// right, by the Unicode bidirectional algorithm (UAX #9) without embeddings, which no
// record holds: W4 to W7, N0 to N2, I1, I2, L1, L2 and L4. rtl says that the line reads
// from the right.
func visual(line string) (out string, rtl bool) {
	text := []rune(line)
	classes := make([]bidi.Class, len(text))
	right := false
	base := -1
	for i, r := range text {
		p, _ := bidi.LookupRune(r)
		classes[i] = p.Class()
		if classes[i] == bidi.AL {
			classes[i] = bidi.R // W3
		}
		switch classes[i] {
		case bidi.L:
			base = max(base, 0)
		case bidi.R:
			if base < 0 {
				base = 1
			}
			right = true
		}
	}
	if !right {
		return line, false
	}
	weak(classes)
	embedding := bidi.L
	if base == 1 {
		embedding = bidi.R
	}
	brackets(text, classes, embedding)
	neutral(classes, embedding)
	levels := make([]int, len(text))
	for i, c := range classes {
		switch {
		case c == bidi.R:
			levels[i] = 1
		case base == 1, c == bidi.EN:
			levels[i] = 2
		}
	}
	for i := len(text) - 1; i >= 0 && text[i] == ' '; i-- { // L1
		levels[i] = base
	}
	for level := 2; level > 0; level-- { // L2
		for i := 0; i < len(text); {
			j := i
			for j < len(text) && levels[j] >= level {
				j++
			}
			slices.Reverse(text[i:j])
			slices.Reverse(levels[i:j])
			i = max(j, i+1)
		}
	}
	for i, r := range text { // L4
		if levels[i] == 1 {
			if m, ok := mirrored[r]; ok {
				text[i] = m
			}
		}
	}
	return string(text), base == 1
}

var mirrored = map[rune]rune{'(': ')', ')': '(', '[': ']', ']': '[', '{': '}', '}': '{', '<': '>', '>': '<', '«': '»', '»': '«', '≤': '≥', '≥': '≤'}

// weak resolves separators and terminators of numbers, and numbers behind Latin letters.
func weak(cs []bidi.Class) {
	for i, c := range cs { // W4
		if (c == bidi.ES || c == bidi.CS) && i > 0 && i+1 < len(cs) && cs[i-1] == bidi.EN && cs[i+1] == bidi.EN {
			cs[i] = bidi.EN
		}
	}
	for i := 0; i < len(cs); { // W5
		j := i
		for j < len(cs) && (cs[j] == bidi.ET || cs[j] == bidi.NSM) {
			j++
		}
		if j > i && (i > 0 && cs[i-1] == bidi.EN || j < len(cs) && cs[j] == bidi.EN) {
			for k := i; k < j; k++ {
				cs[k] = bidi.EN
			}
		}
		i = max(j, i+1)
	}
	strong := bidi.L
	for i, c := range cs { // W7
		switch {
		case c == bidi.L || c == bidi.R:
			strong = c
		case c == bidi.EN && strong == bidi.L:
			cs[i] = bidi.L
		}
	}
}

// side is the direction that a class counts as beside neutrals.
func side(c bidi.Class) (bidi.Class, bool) {
	switch c {
	case bidi.L:
		return bidi.L, true
	case bidi.R, bidi.EN:
		return bidi.R, true
	}
	return 0, false
}

// brackets returns a pair the direction of what it holds (N0).
func brackets(text []rune, cs []bidi.Class, embedding bidi.Class) {
	closing := map[rune]rune{'(': ')', '[': ']', '{': '}'}
	for i, r := range text {
		end, ok := closing[r]
		if !ok {
			continue
		}
		depth, j := 0, i
		for ; j < len(text); j++ {
			if text[j] == r {
				depth++
			} else if text[j] == end {
				if depth--; depth == 0 {
					break
				}
			}
		}
		if j == len(text) {
			continue
		}
		same, other := false, false
		for _, c := range cs[i+1 : j] {
			if s, strong := side(c); strong {
				same, other = same || s == embedding, other || s != embedding
			}
		}
		to := embedding
		switch {
		case same:
		case other:
			for k := i - 1; k >= 0; k-- {
				if s, strong := side(cs[k]); strong {
					to = s
					break
				}
			}
		default:
			continue
		}
		cs[i], cs[j] = to, to
	}
}

// neutral returns what is between two directions theirs, or the line's (N1, N2).
func neutral(cs []bidi.Class, embedding bidi.Class) {
	for i := 0; i < len(cs); {
		if _, strong := side(cs[i]); strong {
			i++
			continue
		}
		j := i
		for j < len(cs) {
			if _, strong := side(cs[j]); strong {
				break
			}
			j++
		}
		before, after := embedding, embedding
		if i > 0 {
			before, _ = side(cs[i-1])
		}
		if j < len(cs) {
			after, _ = side(cs[j])
		}
		to := embedding
		if before == after {
			to = before
		}
		for k := i; k < j; k++ {
			cs[k] = to
		}
		i = j
	}
}
