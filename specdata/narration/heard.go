package narration

import (
	"context"
	"slices"
	"strings"

	"proofload/specdata/claim"
	"proofload/specdata/lexicon"
)

// heard is one clause of speech with its time.
type heard struct {
	text   *claim.Text
	clause int
	// start and end are seconds.
	start, end float64
	line       int
	// row is the row of the procedure that it is aligned with, -1 for none; at is how far
	// the job had come when it was said.
	row, at int
	// done is the furthest row that was said so far, -1 for none.
	done int
}

func (h *heard) c() *claim.Clause { return &h.text.Clauses[h.clause] }

// words returns the clause as it was said.
func (h *heard) words() string {
	c := h.c()
	return strings.Join(strings.Fields(h.text.Said(c.From, c.To)), " ")
}

type token = lexicon.Token

// tokens returns the words of the clause.
func (h *heard) tokens() []token { return h.text.Tokens[h.c().From:h.c().To] }

// phraseAt reports whether a phrase, stems with spaces between, is at a word.
func phraseAt(ts []lexicon.Token, i int, phrase string) bool {
	for p := range strings.SplitSeq(phrase, " ") {
		if i >= len(ts) || ts[i].Stem != p {
			return false
		}
		i++
	}
	return true
}

// chunkWords is about how many words are read together: enough for a sentence that runs
// over several cues, few enough that reading stays linear.
const chunkWords = 40

// hear reads the cues as clauses. Where the transcript has no marks, as speech recognisers
// write, the end of a cue ends the sentence unless its words plainly go on. It ends early
// when the context is done.
func hear(ctx context.Context, w *claim.World, lex *lexicon.Lexicon, cues []part) []*heard {
	marks, words := 0, 0
	for _, c := range cues {
		marks += strings.Count(c.Text, ". ") + strings.Count(c.Text, "? ")
		if strings.HasSuffix(c.Text, ".") || strings.HasSuffix(c.Text, "?") || strings.HasSuffix(c.Text, "!") {
			marks++
		}
		words += strings.Count(c.Text, " ") + 1
	}
	punctuated := marks*30 >= words
	var out []*heard
	for i := 0; i < len(cues) && ctx.Err() == nil; {
		j := i + 1
		var b strings.Builder
		starts := []int{0} // byte of the text at which each cue begins
		b.WriteString(cues[i].Text)
		count, tokens := strings.Count(cues[i].Text, " ")+1, cues[i].tokens
		for j < len(cues) {
			goesOn := continues(lex, cues[j-1].Text, cues[j].Text)
			ended := strings.ContainsAny(lastOf(cues[j-1].Text), ".!?")
			if ended && count >= 8 || count >= chunkWords && !goesOn || count >= 4*chunkWords || tokens+cues[j].tokens > maxTokens {
				break
			}
			if punctuated || goesOn {
				b.WriteString(" ")
			} else {
				b.WriteString("; ")
			}
			starts = append(starts, b.Len())
			b.WriteString(cues[j].Text)
			count += strings.Count(cues[j].Text, " ") + 1
			tokens += cues[j].tokens
			j++
		}
		t := w.Read(b.String())
		cueOf := func(at int) *Cue {
			k, found := slices.BinarySearch(starts, at)
			if !found {
				k--
			}
			return &cues[i+k].Cue
		}
		for k := range t.Clauses {
			from, to := t.Span(t.Clauses[k].From, t.Clauses[k].To)
			first, last := cueOf(from), cueOf(to-1)
			out = append(out, &heard{text: t, clause: k, start: first.Start, end: last.End, line: first.Line, row: -1})
		}
		i = j
	}
	return out
}

func lastOf(text string) string {
	if text == "" {
		return ""
	}
	return text[len(text)-1:]
}

// opens are words that a sentence does not end with, goes are words that it does not begin with.
var (
	opens = strings.Fields("a an the to and of by with new old in on at is are its both all two three four five six seven eight nine ten eleven twelve twenty thirty forty fifty sixty seventy eighty ninety hundred oh point left right front rear torque take get put pull this that your my one or for from then half quarter first uh um never not don't no without")
	goes  = strings.Fields("off out on down up in back away newton newtons metres meters pounds degrees of mil millimetre millimeter socket hundred point and or nm nut nuts bolt bolts")
)

// A particle behind one of these words ends a sentence: "the wheel goes back on".
var (
	particles      = strings.Fields("on in off out up")
	beforeParticle = strings.Fields("back it them go goes away put")
)

// continues reports whether the words of a cue plainly go on in the next.
func continues(lex *lexicon.Lexicon, before, after string) bool {
	if strings.ContainsAny(lastOf(before), ".!?") {
		return false
	}
	b := strings.Fields(strings.ToLower(before))
	a := strings.Fields(strings.ToLower(after))
	if len(a) == 0 || len(b) == 0 {
		return false
	}
	first, last := strings.Trim(a[0], ".,;:!?-"), strings.Trim(b[len(b)-1], ".;:!?-")
	if i := strings.LastIndexByte(last, '-'); i >= 0 {
		last = last[i+1:]
	}
	if n := len(b); n > 1 && slices.Contains(particles, last) && slices.Contains(beforeParticle, b[n-2]) {
		return slices.Contains(goes, first) // "it goes back on" ends
	}
	if first == "foot" || first == "feet" || first == "pound" {
		second := ""
		if len(a) > 1 {
			second = strings.Trim(a[1], ".,;:!?-")
		}
		if strings.HasPrefix(second, "pound") || strings.HasPrefix(second, "f") || strings.HasPrefix(second, "lb") {
			return true
		}
	}
	return slices.Contains(opens, last) || slices.Contains(goes, first) || last[len(last)-1] >= '0' && last[len(last)-1] <= '9' && len(last) < 4
}
