package narration

import (
	"strings"

	"proofload/specdata/lexicon"
)

// maxTokens is the most words that are read together. Within them a reader may look at
// every word for every value; as there are never more, reading a transcript is linear.
// A speaker says 200 words in over a minute.
const maxTokens = 200

// part is a piece of a cue with the number of its words.
type part struct {
	Cue
	tokens int
}

// parts cuts the cues that have more than maxTokens words: behind the last sentence that
// ends within them, else where the words do not plainly go on, else at the bound.
func parts(lex *lexicon.Lexicon, cues []Cue) []part {
	out := make([]part, 0, len(cues))
	for _, c := range cues {
		ts := lex.Tokens(c.Text)
		for from := 0; ; {
			to := len(ts)
			if to-from > maxTokens {
				to = cutAt(lex, c.Text, ts, from)
			}
			p := part{c, to - from}
			start, end := 0, len(c.Text)
			if from > 0 {
				start = ts[from].Start
			}
			if to < len(ts) {
				end = ts[to].Start
			}
			p.Text = strings.TrimSpace(c.Text[start:end])
			out = append(out, p)
			if to == len(ts) {
				break
			}
			from = to
		}
	}
	return out
}

// cutAt returns the word before which a text is cut that is too long from a word on.
func cutAt(lex *lexicon.Lexicon, text string, ts []lexicon.Token, from int) int {
	last := from + maxTokens
	for to := last; to > from+maxTokens/2; to-- {
		if strings.ContainsAny(ts[to].Before, ".;!?") {
			return to
		}
	}
	for to := last; to > from+maxTokens/2; to-- {
		before, after := text[ts[to-2].Start:ts[to-1].End], text[ts[to].Start:ts[min(to+2, len(ts)-1)].End]
		if strings.ContainsAny(text[ts[to-1].End:ts[to].Start], " \t,") && !continues(lex, before, after) {
			return to
		}
	}
	return last
}
