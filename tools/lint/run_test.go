package lint_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

const headings = "## What\n## Why\n## How to mend\n## When to waive\n## Source\n"

// rule returns a fit rule over sources, to be changed by the test.
func rule(name string, check func(*lint.Pass)) *lint.Rule {
	return &lint.Rule{
		Name: name, Title: "something is off", Doc: headings, Severity: lint.Error, Cites: []lint.Citation{lint.CommonPractice}, Protects: lint.Joint,
		Edition: "2026-12", AppliesTo: lint.Kind(specdata.KindSource), Record: check,
	}
}

// source returns a source document with extra lines.
func source(id string, extra ...string) string {
	return "kind: source\nid: " + id + "\ntitle: Sheet " + id + "\nissuer: Tansy Works\ndate: \"2019-03-01\"\ntype: maker\nlicence: free\n" + strings.Join(extra, "\n") + "\n"
}

func entry(t testing.TB, name, text string) *library.Entry {
	t.Helper()
	doc, findings := document.Read(name+".yaml", []byte(text))
	if doc == nil {
		t.Fatalf("document %s: %v", name, findings)
	}
	return library.NewEntry(doc)
}

func sources(t testing.TB, texts ...string) *library.Memory {
	t.Helper()
	var entries []*library.Entry
	for _, text := range texts {
		_, rest, _ := strings.Cut(text, "\nid: ")
		id, _, _ := strings.Cut(rest, "\n")
		entries = append(entries, entry(t, "sources/"+id, text))
	}
	lib, err := library.NewMemory(entries...)
	if err != nil {
		t.Fatal(err)
	}
	return lib
}

func run(t testing.TB, o lint.Options) *lint.Report {
	t.Helper()
	if o.Date.IsZero() {
		o.Date = day
	}
	rep, err := lint.Run(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	return rep
}

// lines returns the findings as "severity record pointer rule: message", for comparing.
func lines(fs []specdata.Finding) []string {
	var out []string
	for _, f := range fs {
		waived := ""
		if f.Waived != "" {
			waived = " (waived)"
		}
		out = append(out, fmt.Sprintf("%s %s%s %s%s: %s", f.Severity, f.Record, f.Pointer, f.Rule, waived, f.Message))
	}
	return out
}

func TestSameReportWhateverProcessors(t *testing.T) {
	var texts []string
	for i := range 500 {
		texts = append(texts, source(fmt.Sprintf("s-%03d", i)))
	}
	lib := sources(t, texts...)
	rules := []*lint.Rule{
		rule("speaks-thrice", func(p *lint.Pass) {
			p.Reportf("/title", "second")
			p.Reportf("/title", "first")
			p.Reportf("/issuer", "issuer %s", p.Source().Issuer)
			p.NotChecked("/edition", "no edition")
		}),
		rule("speaks-once", func(p *lint.Pass) { p.Report(lint.Problem{At: "/title", Message: "title", Severity: lint.Advice}) }),
	}
	var want string
	for _, procs := range []int{1, 2, 3, 16} {
		old := runtime.GOMAXPROCS(procs)
		b, err := json.Marshal(run(t, lint.Options{Rules: rules, Library: lib}))
		runtime.GOMAXPROCS(old)
		if err != nil {
			t.Fatal(err)
		}
		if want == "" {
			want = string(b)
		}
		if string(b) != want {
			t.Errorf("report with GOMAXPROCS=%d differs from the one with 1", procs)
		}
	}
	if n := strings.Count(want, `"identity"`); n != 2000 {
		t.Errorf("report has %d findings, want 2000", n)
	}
}

func TestRuleFailureNamesRuleAndRecord(t *testing.T) {
	lib := sources(t, source("a"), source("b"), source("c"))
	var none *specdata.Source
	tests := []struct {
		name, cause string
		check       func(*lint.Pass)
	}{
		{"nil dereference", "nil pointer", func(p *lint.Pass) {
			if p.Source().ID == "b" {
				p.Reportf("/title", "%s", none.Title)
			}
		}},
		{"wrong kind", "interface conversion", func(p *lint.Pass) {
			if p.Source().ID == "b" {
				p.Reportf("/count", "%d", p.Fastener().Count)
			}
		}},
		{"severity never declared", `severity "error"`, func(p *lint.Pass) {
			if p.Source().ID == "b" {
				p.Report(lint.Problem{At: "/title", Message: "m", Severity: lint.Error})
			}
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := rule("breaks-down", tt.check)
			r.Severity = lint.Warning
			calm := rule("stays-calm", func(p *lint.Pass) { p.Reportf("/title", "seen") })
			_, err := lint.Run(context.Background(), lint.Options{Rules: []*lint.Rule{r, calm}, Library: lib, Date: day})
			var failure *lint.RuleFailure
			if !errors.As(err, &failure) || failure.Rule != "breaks-down" || failure.Record != "sources/b" {
				t.Fatalf("error is %v, want a failure of breaks-down on sources/b", err)
			}
			if !strings.Contains(failure.Cause, tt.cause) {
				t.Errorf("cause is %q, want it to say %q", failure.Cause, tt.cause)
			}
			if msg := err.Error(); strings.Contains(msg, "runtime") || strings.Contains(msg, ".go") || strings.Contains(msg, "stays-calm") {
				t.Errorf("message shows internals or blames another rule: %s", msg)
			}
		})
	}
}

func TestChangeRules(t *testing.T) {
	change := rule("saw-change", nil)
	change.Record = nil
	change.Change = func(p *lint.Pass, old specdata.Record) {
		if old == nil {
			p.Reportf("/title", "new")
			return
		}
		p.Reportf("/edition", "was %q", old.(*specdata.Source).Edition)
	}
	now := sources(t, source("changed", `edition: "2"`), source("fresh"), source("same"))
	before := sources(t, source("changed", `edition: "1"`), source("gone"), source("same"))
	rep := run(t, lint.Options{Rules: []*lint.Rule{change}, Library: now, Old: before})
	want := []string{
		`error sources/changed/edition saw-change: was "1"`,
		`error sources/fresh/title saw-change: new`,
	}
	if got := lines(rep.Findings); !slices.Equal(got, want) {
		t.Errorf("findings:\n%s\nwant:\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if rep.Applied["saw-change"] != 2 {
		t.Errorf("rule applied to %d records, want the 2 that changed", rep.Applied["saw-change"])
	}
	if rep := run(t, lint.Options{Rules: []*lint.Rule{change}, Library: now}); len(rep.Findings) != 0 || rep.Applied["saw-change"] != 0 {
		t.Errorf("change rule ran although nothing is known of before: %v", rep)
	}
}

func TestOnly(t *testing.T) {
	lib := sources(t, source("a"), source("b"), source("c"))
	r := rule("sees-all", func(p *lint.Pass) {
		n := 0
		for range p.Library.All(specdata.KindSource) {
			n++
		}
		p.Reportf("/title", "%d records", n)
	})
	rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: lib, Only: []specdata.Name{"sources/c", "sources/a", "sources/c"}})
	want := []string{"error sources/a/title sees-all: 3 records", "error sources/c/title sees-all: 3 records"}
	if got := lines(rep.Findings); !slices.Equal(got, want) || rep.Records != 2 {
		t.Errorf("%d records, findings %q, want %q", rep.Records, got, want)
	}
	_, err := lint.Run(context.Background(), lint.Options{Rules: []*lint.Rule{r}, Library: lib, Only: []specdata.Name{"sources/d"}, Date: day})
	if err == nil || !strings.Contains(err.Error(), "record sources/d is not in the library") {
		t.Errorf("error is %v, want that sources/d is not in the library", err)
	}
}

func TestRunStopsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	r := rule("cancels-run", func(*lint.Pass) { cancel() })
	rep, err := lint.Run(ctx, lint.Options{Rules: []*lint.Rule{r}, Library: sources(t, source("a"), source("b")), Date: day})
	if rep != nil || !errors.Is(err, context.Canceled) {
		t.Errorf("report %v, error %v; want no report and the context's error", rep, err)
	}
}

func TestNoDayNoRun(t *testing.T) {
	if _, err := lint.Run(context.Background(), lint.Options{Library: sources(t)}); err == nil {
		t.Error("run without a day succeeded")
	}
}

func TestTook(t *testing.T) {
	lib := sources(t, source("a"))
	r := rule("takes-time", func(*lint.Pass) { time.Sleep(time.Millisecond) })
	if rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: lib, Time: true}); rep.Took["takes-time"] < time.Millisecond {
		t.Errorf("took %v, want at least 1 ms", rep.Took["takes-time"])
	}
	if rep := run(t, lint.Options{Rules: []*lint.Rule{r}, Library: lib}); rep.Took != nil {
		t.Errorf("took %v though nobody asked", rep.Took)
	}
}

func TestValidate(t *testing.T) {
	fit := func() *lint.Rule { return rule("is-fit", func(*lint.Pass) {}) }
	tests := []struct {
		want  string
		spoil func(*lint.Rule)
	}{
		{"", func(*lint.Rule) {}},
		{"name \"Fit\"", func(r *lint.Rule) { r.Name = "Fit" }},
		{"name \"fit\"", func(r *lint.Rule) { r.Name = "fit" }},
		{"severity \"fatal\"", func(r *lint.Rule) { r.Severity = "fatal" }},
		{"lacks a title or a citation", func(r *lint.Rule) { r.Cites = nil }},
		{"citation has kind \"hearsay\"", func(r *lint.Rule) { r.Cites[0].Kind = "hearsay" }},
		{"citation has kind \"standard\" with document \"\"", func(r *lint.Rule) { r.Cites[0].Kind = lint.Standard }},
		{"protects \"honour\"", func(r *lint.Rule) { r.Protects = "honour" }},
		{"lacks a title or a citation", func(r *lint.Rule) { r.Title = "" }},
		{"edition \"2026\"", func(r *lint.Rule) { r.Edition = "2026" }},
		{"applies to nothing", func(r *lint.Rule) { r.AppliesTo = lint.Scope{} }},
		{"checks nothing", func(r *lint.Rule) { r.Record = nil }},
		{"lacks the heading \"## How to mend\"", func(r *lint.Rule) { r.Doc = "## What\n## How to mend\n## Why\n## When to waive\n## Source\n" }},
		{"reserved", func(r *lint.Rule) { r.Name = "waiver-forgotten" }},
	}
	for _, tt := range tests {
		r := fit()
		tt.spoil(r)
		err := lint.Validate([]*lint.Rule{r})
		if tt.want == "" && err != nil || tt.want != "" && (err == nil || !strings.Contains(err.Error(), tt.want)) {
			t.Errorf("error is %v, want one with %q", err, tt.want)
		}
	}
	if err := lint.Validate([]*lint.Rule{fit(), fit()}); err == nil || !strings.Contains(err.Error(), "declared twice") {
		t.Errorf("error is %v, want that is-fit is declared twice", err)
	}
}
