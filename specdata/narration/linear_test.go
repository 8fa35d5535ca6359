package narration

import (
	"context"
	"errors"
	"strings"
	"testing"

	"proofload/specdata/claim"
	"proofload/specdata/demo"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

// steps counts what reading looks at, at most: within what is read together every word
// for every word; and it reports the longest of these texts.
func steps(hs []*heard) (work, longest int) {
	seen := map[*claim.Text]bool{}
	for _, h := range hs {
		if !seen[h.text] {
			seen[h.text] = true
			work += len(h.text.Tokens) * len(h.text.Tokens)
			longest = max(longest, len(h.text.Tokens))
		}
	}
	return work, longest
}

// A transcript without a mark, or without a blank, costs as its length, and no word of
// it is lost.
func TestReadingIsLinear(t *testing.T) {
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	lex := lexicon.Default()
	w := claim.New(library.Procedure(l, "brindle-3-rear-axle-cover-reseal"), l, lex, "")
	for _, words := range []string{"twenty ", "one hundred and ", "twenty-", "tighten it ", "bolt,", "20 ", "five."} {
		t.Run(words, func(t *testing.T) {
			of := func(n int) (work int) {
				text := strings.TrimSpace(strings.Repeat(words, n/max(1, len(strings.Fields(words)))))
				cues, err := Read("a.txt", []byte("[0:01] "+text))
				if err != nil {
					t.Fatal(err)
				}
				ps := parts(lex, cues)
				for _, p := range ps {
					if got := len(lex.Tokens(p.Text)); got > maxTokens {
						t.Fatalf("%d words: a part has %d, want %d at most", n, got, maxTokens)
					}
				}
				hs := hear(t.Context(), w, lex, ps)
				tokens := 0
				for _, h := range hs {
					tokens += len(h.tokens())
				}
				if want := len(lex.Tokens(text)); tokens != want {
					t.Errorf("%d words: %d of %d are read", n, tokens, want)
				}
				work, longest := steps(hs)
				if longest > maxTokens {
					t.Errorf("%d words: %d are read together, want %d at most", n, longest, maxTokens)
				}
				return work
			}
			if once, twice := of(40_000), of(80_000); twice > once*21/10 {
				t.Errorf("80,000 words cost %d steps and 40,000 cost %d: more than twice", twice, once)
			}
		})
	}
}

// A value is not parted where a long run is cut.
func TestACutPartsNoValue(t *testing.T) {
	lex := lexicon.Default()
	for n := range 12 {
		said := "one hundred and forty newton metres"
		text := strings.Repeat("so ", maxTokens-n) + said + strings.Repeat(" so", maxTokens)
		found := false
		for _, p := range parts(lex, []Cue{{Start: 1, End: 2, Text: text}}) {
			found = found || strings.Contains(p.Text, said)
		}
		if !found {
			t.Errorf("%d words before the bound: the value is parted", n)
		}
	}
}

// Nobody waits for the answer of a caller who is gone.
func TestCheckEndsWithItsContext(t *testing.T) {
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	p := library.Procedure(l, "brindle-3-rear-axle-cover-reseal")
	c, err := Check(ctx, p, l, lexicon.Default(), "", []Cue{{Start: 1, End: 2, Text: "Chock the wheels."}})
	if c != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("checked %v, %v; want nothing and context.Canceled", c, err)
	}
}
