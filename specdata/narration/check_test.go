package narration_test

import (
	"embed"
	"flag"
	"slices"
	"strings"
	"testing"

	"proofload/specdata/demo"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
	"proofload/specdata/narration"
)

//go:embed testdata/spoken
var spoken embed.FS

var show = flag.Bool("show", false, "print every miss and every false alarm")

// keptApart are the narrations that were kept untouched until the judge was finished.
var keptApart = []string{"tamber-2-front-lower-arm", "wain-7-front-wheel-refit", "skerry-1-rear-dampers"}

func file(t testing.TB, name string) string {
	t.Helper()
	b, err := spoken.ReadFile("testdata/spoken/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func lines(t testing.TB, name string) [][]string {
	var out [][]string
	for _, line := range strings.Split(file(t, name), "\n") {
		if line = strings.TrimSpace(line); line != "" && line[0] != '#' {
			out = append(out, strings.Split(line, " | "))
		}
	}
	return out
}

func check(t testing.TB, l library.Library, procedure, text string) []narration.Finding {
	t.Helper()
	cues, err := narration.Read(procedure+".txt", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	p := library.Procedure(l, procedure)
	if p == nil {
		t.Fatalf("no procedure %s", procedure)
	}
	c, err := narration.Check(t.Context(), p, l, lexicon.Default(), "", cues)
	if err != nil {
		t.Fatal(err)
	}
	return c.Findings
}

func demoLibrary(t testing.TB) library.Library {
	t.Helper()
	l, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func messages(fs []narration.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Kind+": "+f.Said+": "+f.Message)
	}
	return out
}

// Right narrations, and harmless edits of them, are left alone: at most one false alarm
// in ten minutes.
func TestCleanNarrations(t *testing.T) {
	l := demoLibrary(t)
	entries, _ := spoken.ReadDir("testdata/spoken")
	minutes, alarms := 0.0, 0
	for _, e := range entries {
		procedure := strings.TrimSuffix(e.Name(), ".txt")
		if procedure == "slips" || procedure == "edits" {
			continue
		}
		fs := check(t, l, procedure, file(t, e.Name()))
		cues, _ := narration.Read(e.Name(), []byte(file(t, e.Name())))
		minutes += cues[len(cues)-1].End / 60
		alarms += len(fs)
		if *show && !slices.Contains(keptApart, procedure) {
			for _, m := range messages(fs) {
				t.Logf("FALSE %s: %s", procedure, m)
			}
		}
	}
	edits, flagged := 0, 0
	for _, e := range lines(t, "edits.txt") {
		as, otherwise := strings.ReplaceAll(e[1], `\n`, "\n"), strings.ReplaceAll(e[2], `\n`, "\n")
		text := file(t, e[0]+".txt")
		if !strings.Contains(text, as) {
			t.Errorf("%s does not say %q", e[0], as)
			continue
		}
		edits++
		clean := messages(check(t, l, e[0], text))
		for _, m := range messages(check(t, l, e[0], strings.Replace(text, as, otherwise, 1))) {
			if !slices.Contains(clean, m) {
				flagged++
				if *show && !slices.Contains(keptApart, e[0]) {
					t.Logf("FALSE after %q: %s", otherwise, m)
				}
				break
			}
		}
	}
	t.Logf("%d false alarms in %.1f clean minutes; %d of %d harmless edits flagged", alarms, minutes, flagged, edits)
	if float64(alarms) > minutes/10 {
		t.Errorf("%d false alarms in %.1f minutes; want at most one in ten", alarms, minutes)
	}
	if flagged*20 > edits {
		t.Errorf("%d of %d harmless edits are flagged", flagged, edits)
	}
}

// At least nine of ten slips that can hurt are seen.
func TestSlips(t *testing.T) {
	l := demoLibrary(t)
	high, seen, low, lowSeen, kept, keptSeen := 0, 0, 0, 0, 0, 0
	for _, s := range lines(t, "slips.txt") {
		as, otherwise := strings.ReplaceAll(s[3], `\n`, "\n"), ""
		if len(s) > 4 {
			otherwise = strings.ReplaceAll(s[4], `\n`, "\n")
		}
		text := file(t, s[0]+".txt")
		if !strings.Contains(text, as) {
			t.Errorf("%s does not say %q", s[0], as)
			continue
		}
		clean := messages(check(t, l, s[0], text))
		caught := false
		for _, m := range messages(check(t, l, s[0], strings.Replace(text, as, otherwise, 1))) {
			caught = caught || !slices.Contains(clean, m)
		}
		apart := slices.Contains(keptApart, s[0])
		if s[1] == "high" {
			high++
		} else {
			low++
		}
		switch {
		case caught && s[1] == "high":
			seen++
		case caught:
			lowSeen++
		case *show:
			t.Logf("MISSED %s %s %s: %s", s[0], s[1], s[2], otherwise)
		}
		if apart && s[1] == "high" {
			kept++
			if caught {
				keptSeen++
			}
		}
	}
	t.Logf("slips that can hurt: %d of %d seen; others: %d of %d; of the narrations kept apart %d of %d", seen, high, lowSeen, low, keptSeen, kept)
	if seen*10 < high*9 {
		t.Errorf("%d of %d slips that can hurt are seen; want nine of ten", seen, high)
	}
}
