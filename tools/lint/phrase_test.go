package lint

import (
	"bytes"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// A phrase finds what its expression finds, whatever the text.
func TestPhraseIsItsExpression(t *testing.T) {
	for _, expr := range []string{
		`(?i)\b(brakes?|clutch|backing plate)\b`, `(?i)\bin[- ]line\b`, `(?i)\bair[ -](?:line|gun)\b|\bcompressed air\b`,
		`(?i)\bturn(?:ing|s)?\s+(?:only\s+)?the\s+(head|nut)s?\b`, `(?i)(?:turn|line) the (?:nut|brake)s?`, `brake`, `a|brake`, `(line)?`, `(?:air){2,3}`, `(?:air){0,2}line`, `[a-c]ir`, `é|line`, ``,
	} {
		phrase, plain := MustPhrase(expr), regexp.MustCompile(expr)
		word := rapid.SampledFrom([]string{"brake", "Brakes", "CLUTCH", "in-line", "in line", "air", "airair", "gun", "line", "compressed", "turn", "turning", "the", "only", "nuts", "é", "bir", "", "°"})
		rapid.Check(t, func(t *rapid.T) {
			text := strings.Join(rapid.SliceOfN(word, 0, 6).Draw(t, "words"), rapid.SampledFrom([]string{" ", "", ", "}).Draw(t, "between"))
			if got, want := phrase.MatchString(text), plain.MatchString(text); got != want {
				t.Fatalf("%s in %q: match %v, want %v", expr, text, got, want)
			}
			if got, want := phrase.FindString(text), plain.FindString(text); got != want {
				t.Fatalf("%s in %q: found %q, want %q", expr, text, got, want)
			}
			if got, want := phrase.FindStringIndex(text), plain.FindStringIndex(text); !reflect.DeepEqual(got, want) {
				t.Fatalf("%s in %q: found at %v, want %v", expr, text, got, want)
			}
			if got, want := phrase.FindStringSubmatch(text), plain.FindStringSubmatch(text); !reflect.DeepEqual(got, want) {
				t.Fatalf("%s in %q: found %q, want %q", expr, text, got, want)
			}
			if got, want := phrase.FindAllStringSubmatch(text, -1), plain.FindAllStringSubmatch(text, -1); !reflect.DeepEqual(got, want) {
				t.Fatalf("%s in %q: found %q, want %q", expr, text, got, want)
			}
		})
	}
}

// What a match takes is known where there is something to know.
func TestPhraseTakes(t *testing.T) {
	for expr, want := range map[string]string{
		`(?i)\b(brakes?|clutch|backing plate)\b`: "brake clutch backing plate", `(?i)air[ -]?gun`: "air; gun", `line|a`: "", `(?:line)?`: "", `(?:line){2}`: "line; line", `x`: "", `[0-9]\?`: "?", `e.g.`: "",
		`(?:push|roll) the (?:car|van)\b`: "push roll;  the ; car van", `roll the|on the car`: "roll the on the car", `the (?:car|van)|line`: "car van line",
	} {
		var got []string
		for _, words := range MustPhrase(expr).takes {
			got = append(got, string(bytes.Join(words, []byte(" "))))
		}
		if strings.Join(got, "; ") != want {
			t.Errorf("%s takes %q, want %q", expr, strings.Join(got, "; "), want)
		}
	}
	p := MustPhrase(`(?i)\bbrakes?\b`)
	if n := testing.AllocsPerRun(10, func() { p.MatchString("Fit the disc and the Caliper.") }); n != 0 {
		t.Errorf("looking for a phrase allocates %v times; every sentence is looked through for dozens", n)
	}
}
