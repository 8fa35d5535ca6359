package quick

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// Every pattern of the schemas has a table, and the table agrees with package
// regexp on text that matches and on text that nearly does.
func TestAutomatonAgreesWithRegexp(t *testing.T) {
	patterns := map[string]bool{}
	files, err := filepath.Glob("../*/v1.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		var v any
		if err := json.Unmarshal(text, &v); err != nil {
			t.Fatal(err)
		}
		collect(v, patterns)
	}
	for _, p := range []string{`^$`, `^a?$`, `^(?:a|ab)(?:c|bcd)$`, `^(?:a{2,3}b){1,2}$`, `^[^a]*$`, `^\s+\d\w$`, `^.+$`, `^(?i:ab)$`, `^(?:|a)(?:b|)$`} {
		patterns[p] = true
	}
	if len(patterns) < 30 {
		t.Errorf("%d patterns found; the schemas hold more", len(patterns))
	}
	for p := range patterns {
		re := regexp.MustCompile(p)
		a := newAutomaton(p)
		if a == nil {
			t.Errorf("%s has no table", p)
			continue
		}
		likely := rapid.StringMatching(p)
		rapid.Check(t, func(t *rapid.T) {
			text := likely.Draw(t, "text")
			for range rapid.IntRange(0, 2).Draw(t, "edits") {
				i := rapid.IntRange(0, len(text)).Draw(t, "at")
				text = text[:i] + string(rune(rapid.IntRange(0, 127).Draw(t, "letter"))) + text[min(len(text), i+rapid.IntRange(0, 1).Draw(t, "cut")):]
			}
			if strings.IndexFunc(text, func(r rune) bool { return r > 127 }) >= 0 {
				return
			}
			if got, want := a.match([]byte(text)), re.MatchString(text); got != want {
				t.Fatalf("%s on %q: table %v, expression %v", p, text, got, want)
			}
		})
	}
}

// collect adds every pattern below a schema.
func collect(v any, patterns map[string]bool) {
	switch v := v.(type) {
	case []any:
		for _, e := range v {
			collect(e, patterns)
		}
	case map[string]any:
		for key, e := range v {
			if p, ok := e.(string); ok && key == "pattern" {
				patterns[p] = true
			}
			collect(e, patterns)
		}
	}
}

func TestAutomatonRefuses(t *testing.T) {
	for _, p := range []string{`a`, `a$`, `(`, `^(?:[ab]*a[ab]{12})$`} {
		if newAutomaton(p) != nil {
			t.Errorf("%s has a table", p)
		}
	}
}

// Words that need the calendar: 2000 and 2024 are leap years, 1900 and 2100 are not
// (the Gregorian rule).
func TestCalendarDay(t *testing.T) {
	for day, want := range map[string]bool{
		"2024-02-29": true, "2023-02-29": false, "2000-02-29": true, "1900-02-29": false, "2100-02-29": false, "2023-04-30": true, "2023-04-31": false,
		"2023-12-31": true, "2023-13-01": false, "2023-00-10": false, "2023-01-00": false, "2023-1-01": false, "": false,
	} {
		if got := calendarDay([]byte(day)); got != want {
			t.Errorf("%q is a day: %v, want %v", day, got, want)
		}
	}
}
