package ruletest

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/tools/lint"
)

// toy is a rule with a finding, arithmetic, a fix and a not-checked report.
func toy() *lint.Rule {
	return &lint.Rule{
		Name: "toy-count", Title: "wheel does not have five bolts", Severity: lint.Error, Source: "invented", Edition: "2026-12",
		Doc:       "## What\n## Why\n## How to mend\n## When to waive\n## Source\n",
		AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Joint == specdata.JointWheel }),
		Record: func(p *lint.Pass) {
			f := p.Fastener()
			if f.Count == 5 {
				return
			}
			if f.Source == nil {
				p.NotChecked("/joint", "no one told the toy rule")
			}
			if !strings.Contains(f.Title, "five") {
				p.Reportf("/count", "count is %d", f.Count)
				p.Report(lint.Problem{
					At: "/count", Message: "count is 4 again", Arithmetic: []string{"5 - 4 = 1"},
					Fix: []specdata.Change{{Op: "replace", Path: "/title", Value: "Wheel bolt of five"}},
				})
			}
		},
	}
}

func TestRun(t *testing.T) { Run(t, toy(), "testdata") }

// TestProblems spoils the good case and the bad one in every way a case can be
// wrong and holds what is said about it against a pattern.
func TestProblems(t *testing.T) {
	read := func(name string) string {
		b, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	bad := read("bad_count_differs.txtar")
	tests := []struct {
		name, file, from, to, want string
	}{
		{"missing finding", "bad_x.txtar", "count: 4 #", "count: 5 #", `bad_x\.txtar:8: fasteners/tansy-2-wheel-bolt\.yaml:6: nothing reported matches:\n\t- # want "count is 4"`},
		{"unexpected finding", "bad_x.txtar", `"count is 4" "`, `"`, `bad_x\.txtar:8: .*finding not expected, at /count:\n\t\+ error: count is 4$`},
		{"wrong line", "bad_x.txtar", "place: wheel\n", "place: wheel # want \"count\"\n", `bad_x\.txtar:7: .*nothing reported matches`},
		{"unexpected not-checked", "bad_x.txtar", `# not-checked "no one told the toy rule"`, "", `not-checked report not expected, at /joint:\n\t\+ no one told`},
		{"wanted in a good case", "good_x.txtar", "", "", `good_x\.txtar:8: a good case expects no finding`},
		{"nothing wanted in a bad case", "bad_x.txtar", `# want "count is 4" "^error: count is 4.*\n5 - 4 = 1"`, "", `bad_x\.txtar:1: a bad case expects at least one finding`},
		{"name", "count.txtar", "", "", `neither with bad_ nor with good_`},
		{"sentence", "bad_x.txtar", "A wheel with four bolts is reported by the toy rule, which wants five.", "Four.", `first line is not a sentence`},
		{"date", "bad_x.txtar", "wants five.\n", "wants five.\ndate: today\n", `bad_x\.txtar:2: date "today"`},
		{"unreadable section", "bad_x.txtar", "count: 4 #", "count: 5\ncount: 4 #", `^bad_x\.txtar:9: section fasteners/tansy-2-wheel-bolt.yaml cannot be read: .*count.*\[duplicate-key\]$`},
		{"regular expression", "bad_x.txtar", `"count is 4"`, `"count is ("`, `bad_x\.txtar:8: expectation "count is \(": error parsing regexp`},
		{"no quotes", "bad_x.txtar", `# want "count is 4"`, `# want "count is 4" or`, `bad_x\.txtar:8: expectation "or`},
		{"unknown section", "bad_x.txtar", "-- fixed/", "-- mended/", `section "mended/fasteners/tansy-2-wheel-bolt.yaml" is none of|names no collection|has an id`},
		{"wrong fix", "bad_x.txtar", "title: Wheel bolt of five", "title: Wheel bolt of six", `after its fixes differs from the section`},
		{"want in fixed", "bad_x.txtar", "title: Wheel bolt of five", "title: Wheel bolt of five # want \"x\"", `stands in a section that is not judged`},
		{"nothing wrong", "bad_x.txtar", "", "", `^$`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			text := strings.Replace(bad, tt.from, tt.to, 1)
			if tt.from != "" && text == bad {
				t.Fatalf("case has no %q to replace", tt.from)
			}
			c, problems := parseCase(tt.file, []byte(text))
			if len(problems) == 0 {
				problems = c.run(toy())
			}
			if got := strings.Join(problems, "\n"); !regexp.MustCompile(tt.want).MatchString(got) {
				t.Errorf("problems do not match %q:\n%s", tt.want, got)
			}
		})
	}
}

func TestCaseDate(t *testing.T) {
	c, problems := parseCase("good_x.txtar", []byte("A case that has a day.\ndate: 2026-12-24\n"))
	if want := time.Date(2026, 12, 24, 0, 0, 0, 0, time.UTC); len(problems) > 0 || !c.date.Equal(want) {
		t.Errorf("date is %v (%v), want %v", c.date, problems, want)
	}
}

// TestChangeRuleSeesOld: an old/ section replaces the world's record as the previous state.
func TestChangeRuleSeesOld(t *testing.T) {
	rule := toy()
	rule.AppliesTo, rule.Record = lint.Kind(specdata.KindSource), nil
	rule.Change = func(p *lint.Pass, old specdata.Record) {
		if old == nil {
			p.Reportf("/title", "is new")
			return
		}
		p.Reportf("/edition", "was %s", old.(*specdata.Source).Edition)
	}
	source := func(id, edition string) string {
		return "kind: source\nid: " + id + "\ntitle: T\nissuer: Tansy Works\nedition: \"" + edition + "\"\ndate: \"2019-03-01\"\ntype: maker\nlicence: free\n"
	}
	text := "A change of edition is seen.\n" +
		"-- sources/tansy-2-chassis.yaml --\n" + strings.Replace(source("tansy-2-chassis", "4"), "\"4\"", "\"4\" # want \"was 2\"", 1) +
		"-- old/sources/tansy-2-chassis.yaml --\n" + source("tansy-2-chassis", "2") +
		"-- sources/other.yaml --\n" + strings.Replace(source("other", "1"), "title: T", "title: T # want \"is new\"", 1)
	c, problems := parseCase("bad_x.txtar", []byte(text))
	if len(problems) == 0 {
		problems = c.run(rule)
	}
	if len(problems) > 0 {
		t.Error(strings.Join(problems, "\n"))
	}
}

func FuzzParseCase(f *testing.F) {
	for _, name := range []string{"bad_count_differs.txtar", "good_five.txtar"} {
		b, err := os.ReadFile(filepath.Join("testdata", name))
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("A case.\n-- absent/x --\n-- fasteners/a.yaml --\n# want \"(\" not-checked\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, problems := parseCase("bad_x.txtar", data)
		for _, p := range problems {
			if !strings.HasPrefix(p, "bad_x.txtar:") {
				t.Errorf("problem does not name its place: %s", p)
			}
		}
		if len(problems) > 0 {
			return
		}
		for _, s := range c.records {
			for _, w := range s.wants {
				if w.re == nil || w.line < 1 {
					t.Errorf("expectation without pattern or line: %+v", w)
				}
			}
		}
	})
}
