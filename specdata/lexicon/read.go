package lexicon

import (
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Token is one word of a text.
type Token struct {
	// Text is the word as it is, Start and End its bytes in the text.
	Text       string
	Start, End int
	// Stem is the word in lower case, in one spelling, without its plural.
	Stem string
	// Before holds the marks between the word before and this one, without spaces.
	Before string
}

// Tokens cuts a text into words: runs of letters, digits and the apostrophes and
// decimal marks inside them. A number parts from the letters of its unit ("62Nm" is
// two words), hyphens part words, and {placeholders} are one word.
func (l *Lexicon) Tokens(text string) []Token {
	ts := make([]Token, 0, len(text)/5+1)
	mark := 0
	for i := 0; i < len(text); {
		r, size := utf8.DecodeRuneInString(text[i:])
		end := i
		switch {
		case r == '{':
			if j := strings.IndexByte(text[i:min(len(text), i+maxPlaceholder)], '}'); j > 0 {
				end = i + j + 1
			}
		case unicode.IsDigit(r):
			end = number(text, i)
		case unicode.IsLetter(r):
			end = letters(text, i)
		case r == '°' || r == '%' || r == '£' || r == '$' || r == '€':
			end = i + size
		}
		if end == i {
			i += size
			continue
		}
		t := Token{Text: text[i:end], Start: i, End: end}
		if between := text[mark:i]; between == "." && mark > 0 { // as in N.m
			t.Before = "·"
		} else if between != "" && between != " " {
			t.Before = strings.Join(strings.Fields(between), "")
		}
		t.Stem = l.Stem(t.Text)
		ts = append(ts, t)
		i, mark = end, end
	}
	return ts
}

// maxPlaceholder is the longest placeholder, {…}, that is read as one word, in bytes.
const maxPlaceholder = 400

func number(text string, i int) int {
	for i < len(text) {
		c := text[i]
		inside := (c == '.' || c == ',' || c == '/') && i+1 < len(text) && text[i+1] >= '0' && text[i+1] <= '9'
		if (c < '0' || c > '9') && !inside {
			break
		}
		i++
	}
	if i < len(text) && text[i] >= utf8.RuneSelf { // a digit of another script
		_, size := utf8.DecodeRuneInString(text[i:])
		if r, _ := utf8.DecodeRuneInString(text[i:]); unicode.IsDigit(r) {
			return i + size
		}
	}
	return max(i, 1)
}

func letters(text string, i int) int {
	for i < len(text) {
		r, size := utf8.DecodeRuneInString(text[i:])
		if unicode.IsLetter(r) || unicode.Is(unicode.Mn, r) {
			i += size
			continue
		}
		if (r == '\'' || r == '’') && i+size < len(text) {
			if next, _ := utf8.DecodeRuneInString(text[i+size:]); unicode.IsLetter(next) {
				i += size
				continue
			}
		}
		break
	}
	return i
}

// symbols are marks that are said as words.
var symbols = map[string]string{"°": "deg", "%": "percent", "n·m": "nm", "£": "pound", "$": "dollar", "€": "euro"}

// irregular plurals and words that only look like plurals.
var irregular = map[string]string{
	"feet": "foot", "axes": "axle", "lives": "life", "halves": "half", "teeth": "tooth", "people": "people", "is": "is", "was": "was", "has": "has", "does": "does",
	"this": "this", "its": "its", "us": "us", "as": "as", "gas": "gas", "less": "less", "press": "press", "cross": "cross", "lens": "lens", "chassis": "chassis",
	"yes": "yes", "always": "always", "across": "across", "pliers": "pliers", "plus": "plus", "minus": "minus", "lbs": "lb", "bus": "bus",
	"inwards": "inwards", "outwards": "outwards", "upwards": "upwards", "downwards": "downwards", "forwards": "forwards", "backwards": "backwards", "towards": "towards", "afterwards": "afterwards",
	"clockwise": "clockwise", "bushes": "bush", "axles": "axle", "hoses": "hose", "shoes": "shoe", "faces": "face", "gauges": "gauge", "pieces": "piece", "edges": "edge", "sides": "side", "threes": "three", "fives": "five", "grease": "grease",
}

// Stem returns a word in lower case, in one spelling, without its plural. Words of up
// to three letters have no plural here.
func (l *Lexicon) Stem(word string) string {
	if s, ok := symbols[word]; ok {
		return s
	}
	w := strings.ToLower(strings.ReplaceAll(word, "’", "'"))
	if to, ok := l.spellings[w]; ok {
		return to
	}
	if to, ok := irregular[w]; ok {
		return to
	}
	n := len(w)
	switch {
	case n > 4 && strings.HasSuffix(w, "ies"):
		w = w[:n-3] + "y"
	case n > 4 && (strings.HasSuffix(w, "ches") || strings.HasSuffix(w, "shes") || strings.HasSuffix(w, "sses") || strings.HasSuffix(w, "xes")):
		w = w[:n-2]
	case n > 3 && w[n-1] == 's' && w[n-2] != 's' && w[n-2] != 'u' && w[n-2] != '\'' && w[n-2] != 'i':
		w = w[:n-1]
	case n > 2 && strings.HasSuffix(w, "'s") && w != "it's" && w != "that's" && w != "let's" && w != "here's" && w != "there's" && w != "what's" && w != "driver's":
		w = w[:n-2]
	}
	if to, ok := l.spellings[w]; ok {
		return to
	}
	return w
}

// Match is a phrase of a text that is said for a concept.
type Match struct {
	Concept *Concept
	// From and To are the first token of the phrase and the one behind it.
	From, To int
}

// Matches lists the phrases of some tokens that are said for concepts, in order of where
// they begin, the longer first: those inside others too. Look-alikes are left out.
func (l *Lexicon) Matches(ts []Token) []Match {
	var ms []Match
	var not []Match
	for i := range ts {
		start := len(ms)
		n := &l.tree
		for j := i; j < len(ts); j++ {
			if j > i && parts(ts[j].Before) {
				break
			}
			if n = n.next[ts[j].Stem]; n == nil {
				break
			}
			for _, c := range n.means {
				ms = append(ms, Match{c, i, j + 1})
			}
			for _, c := range n.not {
				not = append(not, Match{c, i, j + 1})
			}
		}
		slices.Reverse(ms[start:])
	}
	if len(not) == 0 {
		return ms
	}
	return slices.DeleteFunc(ms, func(m Match) bool {
		return slices.ContainsFunc(not, func(n Match) bool {
			return n.Concept == m.Concept && n.From <= m.From && m.To <= n.To && n.To-n.From > m.To-m.From
		})
	})
}

// parts reports whether marks part two words into different phrases.
func parts(before string) bool { return strings.ContainsAny(before, ",;:.!?()\"“”") }

// Longest lists the phrases that no other phrase covers, in order; several concepts of
// one phrase all stand.
func (l *Lexicon) Longest(ts []Token) []Match {
	ms := l.Matches(ts)
	out := make([]Match, 0, len(ms))
	reach, from := 0, 0 // the end of the longest phrase so far, and where that began
	for i := 0; i < len(ms); {
		j := i
		for j < len(ms) && ms[j].From == ms[i].From {
			j++
		}
		longest := ms[i].To // the longer first
		if longest > reach || longest == reach && from == ms[i].From {
			for _, m := range ms[i:j] {
				if m.To == longest {
					out = append(out, m)
				}
			}
			reach, from = longest, ms[i].From
		}
		i = j
	}
	return out
}
