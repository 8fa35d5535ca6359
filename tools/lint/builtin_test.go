package lint_test

import (
	"slices"
	"strings"
	"testing"

	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

func TestBuiltinIsComplete(t *testing.T) {
	var names []string
	for _, r := range lint.Builtin() {
		names = append(names, r.Name)
		if r.Title == "" || r.Source() == "" {
			t.Errorf("rule %s lacks a title or a source", r.Name)
		}
		rest := r.Doc
		for _, h := range []string{"## What\n", "## Why\n", "## How to mend\n", "## When to waive\n", "## Source\n"} {
			_, after, ok := strings.Cut(rest, h)
			if !ok || strings.TrimSpace(after) == "" {
				t.Errorf("rule %s: heading %q is missing, out of order or without text", r.Name, h)
			}
			rest = after
		}
	}
	if !slices.IsSorted(names) {
		t.Errorf("rules are not in order of name: %q", names)
	}
	for _, want := range []string{
		document.RuleSyntax, document.RuleLimits, document.RuleDuplicateKey, document.RulePlainYAML,
		document.RuleExactScalar, document.RuleSchema, document.RuleNameDisagrees,
		lint.RuleWaiverExpired, lint.RuleWaiverExpiring, lint.RuleWaiverMalformed, lint.RuleWaiverUnmatched,
		library.RuleDuplicateRecord, library.RuleStrayFile, lint.RuleStaleBaseline, lint.RuleTodoLeft,
	} {
		if !slices.Contains(names, want) {
			t.Errorf("rule %s is not explained in builtin.md", want)
		}
	}
	if n := len(names); n != 15 {
		t.Errorf("builtin.md explains %d rules, want the 15 that exist", n)
	}
}
