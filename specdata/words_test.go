package specdata_test

import (
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

func TestSameWords(t *testing.T) {
	for _, c := range []struct {
		a, b   string
		ignore []string
		want   bool
	}{
		{"Stub-axle collar nuts", "stub axle collar nut", nil, true},
		{"Caliper bracket bolt", "Caliper bracket bolt", nil, true},
		{"Caliper bracket bolt", "Bracket caliper bolt", nil, false},
		{"Left rod nut", "Rod nut, right", []string{"left", "right"}, true},
		{"Left rod nut", "Rod nut, right", nil, false},
		{"Rod nut", "Rod nut long", nil, false},
		{"ABS sensor", "AB sensor", nil, false},
		{"gas", "ga", nil, false},
		{"glass", "glas", nil, false},
		{"GLASS", "GLAS", nil, false},
		{"M8 x 1", "M8 x 1.25", nil, false},
		{"Größe", "größe", nil, true},
		{"", " - ", nil, true},
		{"", "nut", nil, false},
	} {
		if got := specdata.SameWords(c.a, c.b, c.ignore...); got != c.want {
			t.Errorf("SameWords(%q, %q, %q) = %v, want %v", c.a, c.b, c.ignore, got, c.want)
		}
		if got := specdata.SameWords(c.b, c.a, c.ignore...); got != c.want {
			t.Errorf("SameWords(%q, %q, %q) = %v, want %v", c.b, c.a, c.ignore, got, c.want)
		}
	}
	if n := testing.AllocsPerRun(10, func() { specdata.SameWords("Stub-axle collar nuts", "stub axle collar nut") }); n != 0 {
		t.Errorf("SameWords allocates %v times; it runs for every pair of neighbours in a library", n)
	}
}

func TestOnlyWords(t *testing.T) {
	vague := []string{"the", "book", "table", "page"}
	for phrase, want := range map[string]bool{
		"the book": true, "Tables": true, "?": true, "": true, "page 7": false, "sheet 12": false, "The wheel table": false,
	} {
		if got := specdata.OnlyWords(phrase, vague...); got != want {
			t.Errorf("OnlyWords(%q) = %v, want %v", phrase, got, want)
		}
	}
}

func TestHasWord(t *testing.T) {
	for phrase, want := range map[string]bool{
		"Lower arm bush bolt": true, "bushes": false, "Bushings, rear": true, "ambush": false, "": false,
	} {
		if got := specdata.HasWord(phrase, "bush", "bushing"); got != want {
			t.Errorf("HasWord(%q) = %v, want %v", phrase, got, want)
		}
	}
}

// Plain words are alike for phrases that are the same words, and for no others.
func TestPlainWords(t *testing.T) {
	phrase := rapid.StringMatching(`([abgsS]{1,4}[ ,-]){0,2}[abgsSäÄσς]{1,4}`)
	rapid.Check(t, func(t *rapid.T) {
		a, b := phrase.Draw(t, "a"), phrase.Draw(t, "b")
		if same, plain := specdata.SameWords(a, b), specdata.PlainWords(a) == specdata.PlainWords(b); same != plain {
			t.Fatalf("SameWords(%q, %q) is %v; plain words %q and %q", a, b, same, specdata.PlainWords(a), specdata.PlainWords(b))
		}
	})
	if got := specdata.PlainWords("Stub-axle collar NUTS, "); got != "stub axle collar nut" {
		t.Errorf("plain words are %q", got)
	}
}
