package narration_test

import (
	"bytes"
	"math/big"
	"slices"
	"strings"
	"testing"

	astisub "github.com/asticode/go-astisub"

	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/narration"
)

// The script of every demo procedure is one that the judge finds nothing in.
func TestScriptIsRight(t *testing.T) {
	l := demoLibrary(t)
	for e := range l.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		for _, m := range messages(check(t, l, p.ID, narration.Script(p, l))) {
			t.Errorf("%s: %s", p.ID, m)
		}
	}
}

// A vehicle that no chock holds is one whose brake and gear have to be said.
func TestUnchockedIsSaidByBrakeAndGear(t *testing.T) {
	l := demoLibrary(t)
	p := library.Procedure(l, "brindle-3-rear-axle-cover-reseal")
	said := p.Steps[0].Text
	script := narration.Script(p, l)
	if !strings.Contains(script, said) {
		t.Fatalf("script does not say %q", said)
	}
	ms := messages(check(t, l, p.ID, strings.Replace(script, said, "Look around the vehicle.", 1)))
	if !slices.ContainsFunc(ms, func(m string) bool {
		return strings.Contains(m, "nobody says that the parking brake and the gear are set")
	}) {
		t.Errorf("brake and gear left out: %q", ms)
	}
}

func TestWords(t *testing.T) {
	for v, want := range map[string]string{"240": "two hundred and forty", "4.5": "four point five", "0.05": "nought point oh five", "1/2": "half", "29.98": "twenty-nine point nine eight", "590": "five hundred and ninety", "1100": "one thousand one hundred"} {
		r, _ := new(big.Rat).SetString(v)
		if got := narration.Words(r); got != want {
			t.Errorf("%s is said %q, want %q", v, got, want)
		}
	}
}

// Both tracks are read by an independent subtitle reader, in order and without overlap,
// and show the record's values.
func TestTracks(t *testing.T) {
	l := demoLibrary(t)
	for _, id := range []string{"quill-1-rear-hub-bearing", "tamber-2-front-lower-arm", "wain-7-front-wheel-refit"} {
		cues, err := narration.Read("a.txt", []byte(file(t, id+".txt")))
		if err != nil {
			t.Fatal(err)
		}
		p := library.Procedure(l, id)
		c, err := narration.Check(t.Context(), p, l, lexicon.Default(), "", cues)
		if err != nil {
			t.Fatal(err)
		}
		callouts, chapters := narration.Callouts(c, l), narration.Chapters(c, p)
		for name, track := range map[string]string{"callouts": callouts, "chapters": chapters} {
			subs, err := astisub.ReadFromWebVTT(bytes.NewReader([]byte(track)))
			if err != nil {
				t.Fatalf("%s %s: %v\n%s", id, name, err, track)
			}
			if len(subs.Items) < 2 {
				t.Errorf("%s %s: %d cues", id, name, len(subs.Items))
			}
			for i, item := range subs.Items {
				if item.EndAt <= item.StartAt || i > 0 && item.StartAt < subs.Items[i-1].EndAt {
					t.Errorf("%s %s: cue %d from %s to %s", id, name, i, item.StartAt, item.EndAt)
				}
			}
			if _, err := narration.Read("a.vtt", []byte(track)); err != nil {
				t.Errorf("%s %s: %v", id, name, err)
			}
		}
		if id == "quill-1-rear-hub-bearing" {
			for _, want := range []string{"<c.value>240 N·m</c>", "<c.value>62 N·m</c>", "<c.value>110 N·m</c>", "177 lbf·ft"} {
				if !strings.Contains(callouts, want) {
					t.Errorf("callouts lack %s:\n%s", want, callouts)
				}
			}
			if n := strings.Count(callouts, "240 N·m"); n != 1 {
				t.Errorf("240 N·m is called out %d times", n)
			}
		}
		if !slices.ContainsFunc(c.Steps, func(s narration.Said) bool { return s.Step == "lower-front" || s.Step == "lower-rear" }) {
			t.Errorf("%s: chapters lack the lowering: %v", id, c.Steps)
		}
	}
}
