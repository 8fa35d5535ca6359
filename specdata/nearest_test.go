package specdata_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

func TestNearest(t *testing.T) {
	for _, c := range []struct {
		typed      string
		candidates []string
		want       string
	}{
		{"disk", []string{"drum", "disc"}, "disc"},
		{"quill-1-rear-hub-nutt", []string{"quill-1-rear-hub-nut", "quill-1-rear-hub-bolt"}, "quill-1-rear-hub-nut"},
		{"quill-1-raer-hub-nut", []string{"quill-1-front-hub-nut", "quill-1-rear-hub-nut"}, "quill-1-rear-hub-nut"},
		{"ab", []string{"ba"}, "ba"},           // letters swapped count once
		{"cat", []string{"cut", "bat"}, "bat"}, // equally near: the first in byte order
		{"torqe", []string{"limit", "torque"}, "torque"},
		{"gearbox", []string{"engine", "rear_brake"}, ""}, // nothing near
		{"disc", []string{"disc"}, ""},                    // itself is no suggestion
		{"", []string{"disc"}, ""},
		{"größe", []string{"groesse", "grüße"}, "grüße"}, // letters, not bytes,
	} {
		if got := specdata.Nearest(c.typed, slices.Values(c.candidates)); got != c.want {
			t.Errorf("Nearest(%q, %q) = %q, want %q", c.typed, c.candidates, got, c.want)
		}
	}
	if got := specdata.DidYouMean("disk", slices.Values([]string{"disc"})); got != ` (did you mean "disc"?)` {
		t.Errorf("DidYouMean = %q", got)
	}
}

// One slip of the hand in a word of four letters or more is always found again.
func TestNearestFindsOneSlip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[a-z]{4,20}`).Draw(t, "word")
		i := rapid.IntRange(0, len(word)-2).Draw(t, "place")
		slip := map[string]string{
			"left out": word[:i] + word[i+1:],
			"put in":   word[:i] + "q" + word[i:],
			"replaced": word[:i] + "q" + word[i+1:],
			"swapped":  word[:i] + word[i+1:i+2] + word[i:i+1] + word[i+2:],
		}[rapid.SampledFrom([]string{"left out", "put in", "replaced", "swapped"}).Draw(t, "slip")]
		if slip == word {
			return
		}
		if got := specdata.Nearest(slip, slices.Values([]string{"zzzzzzzzzzzzzzzzzzzzzzzzzz", word})); got != word {
			t.Fatalf("Nearest(%q) = %q, want %q", slip, got, word)
		}
	})
}
