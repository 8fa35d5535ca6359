package lexicon

import (
	"slices"
	"strings"
)

// Searched returns the words by which a text is found: each word as a stem, every
// concept that a phrase in it is said for with all broader ones, and every number with
// its unit as one word. A search finds the text if all of its Query words are among them.
func (l *Lexicon) Searched(text string) []string {
	ts := l.Tokens(text)
	var out []string
	for _, t := range ts {
		out = append(out, t.Stem)
	}
	ms := l.Matches(ts)
	for _, m := range ms {
		if m.Concept.Kind != UnitOf {
			out = l.keys(out, m.Concept)
		}
	}
	out = append(out, l.Measures(text)...)
	slices.Sort(out)
	return slices.Compact(out)
}

// Measures returns the numbers of a text with their units, each as one search word: "19mm".
func (l *Lexicon) Measures(text string) []string {
	ts := l.Tokens(text)
	ms := l.Matches(ts)
	var out []string
	for i := range ts {
		if w, _ := measured(ts, ms, i); w != "" {
			out = append(out, w)
		}
	}
	return out
}

// keys appends the keys of a concept and of all broader ones.
func (l *Lexicon) keys(out []string, c *Concept) []string {
	out = append(out, Key(c.ID))
	for _, b := range c.Broader {
		out = l.keys(out, l.concepts[b])
	}
	return out
}

// Key returns the search word of a concept: its id without hyphens, which no index
// parts, marked so that it is no word of a text.
func Key(id string) string { return "q" + strings.NewReplacer("-", "", ".", "").Replace(id) }

// Query returns the words of a search: for each phrase the concept it is said for, the
// longest phrase first, and else its stem. "19 mm" and "110 Nm" become one word each.
// Words that say nothing about what is looked for ("the", "torque", "for") are left
// out unless nothing else is there.
func (l *Lexicon) Query(text string) []Asked {
	ts := l.Tokens(text)
	ms := l.Matches(ts)
	var out, idle []Asked
	for i := 0; i < len(ts); {
		if to := designation(text, ts, i); to > i && longest(ms, i) == nil {
			word := text[ts[i].Start:ts[to-1].End]
			out = append(out, Asked{strings.ToLower(word), word})
			i = to
			continue
		}
		if w, to := measured(ts, ms, i); w != "" {
			out = append(out, Asked{w, text[ts[i].Start:ts[to-1].End]})
			i = to
			continue
		}
		to, word := i+1, ts[i].Stem
		if m := longest(ms, i); m != nil {
			to, word = m.To, Key(m.Concept.ID)
		}
		a := Asked{word, text[ts[i].Start:ts[to-1].End]}
		if to == i+1 && slices.Contains(idleWords, ts[i].Stem) {
			idle = append(idle, a)
		} else {
			out = append(out, a)
		}
		i = to
	}
	if len(out) == 0 {
		return idle
	}
	return out
}

// designation returns the token behind a thread or a part's number that begins at a
// token and is written without spaces ("M12x1.5", "7/16-20"), i where there is none.
func designation(text string, ts []Token, i int) int {
	to := i + 1
	for to < len(ts) && !strings.ContainsAny(text[ts[to-1].End:ts[to].Start], " \t\n") {
		to++
	}
	isDigit := func(t Token) bool { return t.Text[0] >= '0' && t.Text[0] <= '9' }
	if to == i+1 || !slices.ContainsFunc(ts[i:to], isDigit) || isDigit(ts[i]) && !(to == i+2 && isDigit(ts[i+1])) {
		return i
	}
	return to
}

// Asked is one word of a search.
type Asked struct {
	// Word is what to look for among Searched words, Text what the person wrote.
	Word, Text string
}

var idleWords = []string{"the", "a", "an", "of", "for", "on", "to", "in", "and", "torque", "spec", "setting", "value", "what", "is", "change", "changing"}

// longest returns the longest phrase that begins at a token, nil if there is none. Where
// one phrase is said for several concepts, a thing goes before a state or a direction.
func longest(ms []Match, at int) *Match {
	var best *Match
	for i := range ms {
		m := &ms[i]
		if m.From != at || m.Concept.Kind == UnitOf || m.Concept.Kind == Newness {
			continue
		}
		if best == nil || m.To > best.To {
			best = m
		}
	}
	return best
}

// measured returns the search word of a number with its unit at a token ("19mm"), and
// the token behind both; "" where there is none.
func measured(ts []Token, ms []Match, i int) (string, int) {
	if c := ts[i].Text[0]; c < '0' || c > '9' || i+1 >= len(ts) {
		return "", i
	}
	number := strings.ReplaceAll(ts[i].Text, ",", ".")
	if strings.Contains(number, ".") {
		number = strings.TrimRight(strings.TrimRight(number, "0"), ".")
	}
	var best *Match
	for j := range ms {
		if m := &ms[j]; m.From == i+1 && m.Concept.Kind == UnitOf && (best == nil || m.To > best.To) {
			best = m
		}
	}
	if best == nil {
		return "", i
	}
	return number + strings.ToLower(strings.ReplaceAll(best.Concept.ID, ".", "")), best.To
}

// Vocabulary lists every word that is said for some concept, for suggestions.
func (l *Lexicon) Vocabulary() []string {
	var out []string
	for _, c := range l.order {
		for _, w := range c.Words {
			for _, t := range l.Tokens(w.Text) {
				out = append(out, t.Stem)
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}
