package rules_test

import (
	"os"
	"slices"
	"strings"
	"testing"

	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// entries counts the entries of the catalogue by group: A4 structure, A5 closure, A6
// vehicle state and safety, A7 method, A8 reuse, A9 tools, A10 final checks.
var entries = map[string]int{"ST": 9, "CL": 12, "VS": 9, "TI": 9, "HW": 8, "TO": 6, "FC": 8}

// Every entry of the catalogue has rules that exist, with a case of its bad example
// and of its fine one.
func TestCatalogue(t *testing.T) {
	b, err := os.ReadFile("testdata/catalogue.txt")
	if err != nil {
		t.Fatal(err)
	}
	seen, codes := map[string]int{}, map[string]bool{}
	for line := range strings.Lines(string(b)) {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		head, cases, ok := strings.Cut(line, "|")
		code, _, _ := strings.Cut(head, " ")
		bad, fine, both := strings.Cut(cases, ":")
		if !ok || !both || codes[code] {
			t.Errorf("line %q is not a new entry with cases and a colon", line)
			continue
		}
		codes[code] = true
		group, _, _ := strings.Cut(code, "-")
		seen[group]++
		if len(strings.Fields(bad)) == 0 || len(strings.Fields(fine)) == 0 {
			t.Errorf("%s lacks a case of its bad example or of its fine one", code)
		}
		for _, c := range strings.Fields(bad) {
			exists(t, code, c, "bad_")
		}
		for _, c := range strings.Fields(fine) {
			exists(t, code, c, "good_")
		}
	}
	for group, n := range entries {
		if seen[group] != n {
			t.Errorf("group %s has %d entries in the table, the catalogue has %d", group, seen[group], n)
		}
	}
}

// exists holds that a rule and its case are there.
func exists(t *testing.T, code, name, prefix string) {
	t.Helper()
	rule, file, _ := strings.Cut(name, "/")
	if !slices.ContainsFunc(rules.All, func(r *lint.Rule) bool { return r.Name == rule }) {
		t.Errorf("%s: rule %q does not exist", code, rule)
		return
	}
	if !strings.HasPrefix(file, prefix) {
		t.Errorf("%s: case %q is no %s case", code, name, prefix)
	}
	if _, err := os.Stat(rule + "/testdata/" + file + ".txtar"); err != nil {
		t.Errorf("%s: case %q does not exist", code, name)
	}
}
