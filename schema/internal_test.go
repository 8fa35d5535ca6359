package schema

import (
	"io"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"proofload/specdata"
)

// The validator's own loader reads files and repeats them in errors.
func TestLoadServesOnlyTheEmbedded(t *testing.T) {
	for _, address := range []string{
		"file:///etc/hostname", "http://proofload.example/schema/fastener/v1.json", "https://proofload.example/other", "https://proofload.example/schema",
		base + "../schema.go", base + "fastener/../../go.mod", base + "fastener/v2.json", base + "", base + "/etc/hostname", "fastener/v1.json", "",
	} {
		if r, err := load(address); err == nil {
			b, _ := io.ReadAll(r)
			t.Errorf("load(%q) gives %d bytes", address, len(b))
		}
	}
	r, err := load(ID(specdata.KindFastener))
	if err != nil {
		t.Fatal(err)
	}
	if b, err := io.ReadAll(r); err != nil || string(b) != string(Raw(specdata.KindFastener)) {
		t.Errorf("load of the fastener schema: %v", err)
	}
}

// A keyword that the quick rules do not know would turn them off and cost a lint
// run over a large library its speed, without anything failing.
func TestEverySchemaHasQuickRules(t *testing.T) {
	s, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range append([]specdata.Kind{Library}, specdata.Kinds...) {
		if s.quick[k] == nil {
			t.Errorf("the schema of %s uses a keyword that quick.go does not know", k)
		}
	}
}

// Every pattern of the schemas has a table, and the table agrees with package
// regexp on text that matches and on text that nearly does.
func TestAutomatonAgreesWithRegexp(t *testing.T) {
	s, err := compiled()
	if err != nil {
		t.Fatal(err)
	}
	patterns := map[string]bool{}
	for _, r := range s.quick {
		r.walk(map[*rule]bool{}, func(r *rule) {
			if r.pattern != nil {
				patterns[r.pattern.re.String()] = true
			}
		})
	}
	for _, p := range []string{`^$`, `^a?$`, `^(?:a|ab)(?:c|bcd)$`, `^(?:a{2,3}b){1,2}$`, `^[^a]*$`, `^\s+\d\w$`, `^.+$`, `^(?i:ab)$`, `^(?:|a)(?:b|)$`} {
		patterns[p] = true
	}
	if len(patterns) < 30 {
		t.Errorf("%d patterns found; the walk misses them", len(patterns))
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

func TestAutomatonRefuses(t *testing.T) {
	for _, p := range []string{`a`, `a$`, `(`, `^(?:[ab]*a[ab]{12})$`} {
		if newAutomaton(p) != nil {
			t.Errorf("%s has a table", p)
		}
	}
}

// walk visits every rule below one.
func (r *rule) walk(seen map[*rule]bool, visit func(*rule)) {
	if r == nil || seen[r] {
		return
	}
	seen[r] = true
	visit(r)
	for _, p := range r.properties {
		p.rule.walk(seen, visit)
	}
	for _, b := range r.branches {
		b.cond.walk(seen, visit)
		b.then.walk(seen, visit)
		b.other.walk(seen, visit)
	}
	for _, a := range append(r.also, r.additional, r.names, r.itemRule) {
		a.walk(seen, visit)
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
