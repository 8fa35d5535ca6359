package rules_test

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"proofload/tools/lint"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/ruletest"
)

func TestRulesAreFit(t *testing.T) {
	if err := lint.Validate(rules.All); err != nil {
		t.Error(err)
	}
	if !slices.IsSortedFunc(rules.All, lint.ByWard) {
		t.Error("rules are not in order of what they protect; run: go generate ./tools/lint/rules")
	}
	// A document is cited in one edition, or in none where nobody recorded it.
	editions := map[string]map[string]string{}
	for _, r := range rules.All {
		for _, c := range r.Cites {
			if c.Edition == "" {
				continue
			}
			if editions[c.Document] == nil {
				editions[c.Document] = map[string]string{}
			}
			editions[c.Document][c.Edition] = r.Name
			if len(editions[c.Document]) > 1 {
				t.Errorf("%s is cited in several editions: %v", c.Document, editions[c.Document])
			}
		}
	}
	if len(editions) == 0 {
		t.Error("no citation has an edition; take the field out of lint.Citation or fill it in")
	}
}

var clause = regexp.MustCompile(`(?m)^package (\w+)`)

// TestCases runs every rule over the cases in its folder, all in this one binary:
// a touch of the engine links one test, not one a rule. One rule alone:
//
//	go test ./tools/lint/rules -run Cases/torque-over-yield
func TestCases(t *testing.T) {
	for _, r := range rules.All {
		t.Run(r.Name, func(t *testing.T) { ruletest.Run(t, r, filepath.Join(r.Name, "testdata")) })
	}
}

// TestRuleFolders holds every rule's folder to the one shape: named like the rule,
// with a document, a bad case, a good one and one that only looks bad.
func TestRuleFolders(t *testing.T) {
	for _, r := range rules.All {
		t.Run(r.Name, func(t *testing.T) {
			src, err := os.ReadFile(filepath.Join(r.Name, "rule.go"))
			if err != nil {
				t.Fatalf("rule %s: its folder is not named like it, or has no rule.go: %v", r.Name, err)
			}
			if m := clause.FindSubmatch(src); m == nil || string(m[1]) != strings.ReplaceAll(r.Name, "-", "") {
				t.Errorf("package is not named %s", strings.ReplaceAll(r.Name, "-", ""))
			}
			if n := strings.Count(string(src), "\n"); n > 200 {
				t.Errorf("rule.go has %d lines; a rule is about 80, move what it computes to specdata", n)
			}
			for _, kind := range []string{"bad_", "good_", "good_like_"} {
				files, err := filepath.Glob(filepath.Join(r.Name, "testdata", kind+"*.txtar"))
				if err != nil {
					t.Fatal(err)
				}
				if kind == "good_" {
					files = slices.DeleteFunc(files, func(f string) bool { return strings.HasPrefix(filepath.Base(f), "good_like_") })
				}
				if len(files) == 0 {
					t.Errorf("no case %s*.txtar", kind)
				}
			}
			checkTitle(t, r.Title)
			checkDoc(t, r)
		})
	}
}

// checkTitle: lower case unless the first word is a symbol or an abbreviation, no full stop, short.
func checkTitle(t *testing.T, title string) {
	first, size := utf8.DecodeRuneInString(title)
	second, _ := utf8.DecodeRuneInString(title[size:])
	if unicode.IsUpper(first) && unicode.IsLower(second) {
		t.Errorf("title %q starts with a capital", title)
	}
	if strings.HasSuffix(title, ".") {
		t.Errorf("title %q ends with a full stop", title)
	}
	if n := utf8.RuneCountInString(title); n > 80 {
		t.Errorf("title has %d characters; at most 80 fit a line", n)
	}
}

func checkDoc(t *testing.T, r *lint.Rule) {
	file, err := os.ReadFile(filepath.Join(r.Name, "doc.md"))
	if err != nil {
		t.Fatal(err)
	}
	if string(file) != r.Doc {
		t.Error("Doc is not the embedded doc.md")
	}
	for _, section := range strings.Split("\n"+r.Doc, "\n## ")[1:] {
		heading, body, _ := strings.Cut(section, "\n")
		if len(strings.Fields(body)) < 2 {
			t.Errorf("heading %q of the document has no text below it", heading)
		}
	}
}

// TestWorldIsClean: cases start from the world, so no rule may speak about it.
func TestWorldIsClean(t *testing.T) {
	world, err := ruletest.Workshop()
	if err != nil {
		t.Fatal(err)
	}
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: world, Date: ruletest.Date})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range rep.Findings {
		t.Errorf("world or workshop: %s.yaml:%d: %s: %s [%s]", f.Record, f.Line, f.Severity, f.Message, f.Rule)
	}
}
