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
		Name: "toy-count", Title: "wheel does not have five bolts", Severity: lint.Error, Cites: []lint.Citation{lint.CommonPractice}, Protects: lint.Wheels, Edition: "2026-12",
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

// TestLike composes a section from what it is like, and says where it cannot.
func TestLike(t *testing.T) {
	const head = "A bolt that differs from the pattern.\n-- fasteners/tansy-2-a.yaml like bolt --\n"
	tests := []struct {
		name, body, want string
	}{
		{"nothing differs", "", `"count":2.*"id":"tansy-2-a".*"tolerance":"10 %"`},
		{"a key is replaced whole", "thread: {designation: M8x1.25, hand: right, into: steel}\n", `"thread":\{"designation":"M8x1.25","hand":"right","into":"steel"\}`},
		{"a member of a block is replaced", "tightening:\n  state: cold\n", `"impact":"never","stages":\[\{"torque":"115 N.m"\}\],"state":"cold","tolerance"`},
		{"a member of a block is taken away", "source:\n  checked_by: ~\n", `"entered_by":"Maud Ibbot","read_on"`},
		{"a block takes the place of what is none", "thread:\n  designation: M8x1.25\n  hand: left\n  into: steel\n", `"thread":\{"designation":"M8x1.25","hand":"left","into":"steel"\}`},
		{"a list is replaced whole", "applies_to:\n  - {vehicle: tansy-2, side: left}\n", `"applies_to":\[\{"side":"left","vehicle":"tansy-2"\}\]`},
		{"a key is taken away", "strength: ~\n", `"source":\{[^}]*\},"surface"`},
		{"a key is added", "note: The nut is welded.\n", `"note":"The nut is welded\."`},
		{"expectations stay with the section that wrote them", "count: 3 # want \"x\"\n-- fixed/fasteners/tansy-2-a.yaml like tansy-2-a --\nplace: x\n", `"count":3`},
		{"nothing of that name", "-- fasteners/b.yaml like blot --\n", `bad_x\.txtar:3: section fasteners/b\.yaml like blot: record fasteners/blot is neither`},
		{"nothing to take away", "note: ~\n", `bad_x\.txtar:2: .*key note is taken away, but the record has none`},
		{"not keys", "- a\n", `bad_x\.txtar:2: .*not written as keys`},
		{"a mistake in the section", "place: wheel\ncount: many\n", `bad_x\.txtar:4: section .*count`},
		{"a mistake by taking away", "count: ~\n", `bad_x\.txtar:2: section .*count`},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c, problems := parseCase("bad_x.txtar", []byte(head+tt.body))
			got := strings.Join(problems, "\n")
			if s := c.records["fasteners/tansy-2-a"]; s != nil {
				got += "\n" + string(s.doc.Canonical)
			}
			if !regexp.MustCompile(tt.want).MatchString(got) {
				t.Errorf("does not match %q:\n%s", tt.want, got)
			}
		})
	}
}

// TestPatterns: what sections are like must itself be a record without a finding of form.
func TestPatterns(t *testing.T) {
	entries, err := readWorld("pattern")
	if err != nil || len(entries) == 0 {
		t.Fatalf("patterns cannot be read, or there are none: %v", err)
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
	f.Add([]byte("A case.\n-- fasteners/a.yaml like bolt --\ntightening:\n  state: ~\nlock: {by: pin} # want \"x\"\n"))
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
