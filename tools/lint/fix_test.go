package lint_test

import (
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/tools/lint"
)

func TestApplyFixes(t *testing.T) {
	change := func(op, path, value string) specdata.Change { return specdata.Change{Op: op, Path: path, Value: value} }
	fix := func(changes ...specdata.Change) specdata.Finding {
		return specdata.Finding{Rule: "a-rule", Record: "sources/a", Pointer: "/x", Fix: changes}
	}
	waived := fix(change("replace", "/a", "2"))
	waived.Waived = "agreed with the issuer"
	tests := []struct {
		name     string
		doc      string
		findings []specdata.Finding
		want     string
		applied  int
	}{
		// The operations as RFC 6902, appendices A.1, A.2, A.3, A.4 and A.5, show them.
		{"add a member", `{"foo":"bar"}`, []specdata.Finding{fix(change("add", "/baz", "qux"))}, `{"baz":"qux","foo":"bar"}`, 1},
		{"add an element", `{"foo":["bar","baz"]}`, []specdata.Finding{fix(change("add", "/foo/1", "qux"))}, `{"foo":["bar","qux","baz"]}`, 1},
		{"remove a member", `{"baz":"qux","foo":"bar"}`, []specdata.Finding{fix(change("remove", "/baz", ""))}, `{"foo":"bar"}`, 1},
		{"remove an element", `{"foo":["bar","qux","baz"]}`, []specdata.Finding{fix(change("remove", "/foo/1", ""))}, `{"foo":["bar","baz"]}`, 1},
		{"replace a value", `{"baz":"qux","foo":"bar"}`, []specdata.Finding{fix(change("replace", "/baz", "boo"))}, `{"baz":"boo","foo":"bar"}`, 1},

		{"two places", `{"a":"1","b":"1"}`, []specdata.Finding{fix(change("replace", "/a", "2")), fix(change("replace", "/b", "2"))}, `{"a":"2","b":"2"}`, 2},
		{"one place twice", `{"a":"1"}`, []specdata.Finding{fix(change("replace", "/a", "2")), fix(change("replace", "/a", "3"))}, `{"a":"2"}`, 1},
		{"inside what was replaced", `{"a":{"b":"1"}}`, []specdata.Finding{fix(change("replace", "/a", "2")), fix(change("replace", "/a/b", "3"))}, `{"a":"2"}`, 1},
		{"list elements that would move", `{"a":["1","2"]}`, []specdata.Finding{fix(change("remove", "/a/0", "")), fix(change("replace", "/a/1", "3"))}, `{"a":["2"]}`, 1},
		{"names that start alike", `{"a":"1","ab":"1"}`, []specdata.Finding{fix(change("replace", "/a", "2")), fix(change("replace", "/ab", "2"))}, `{"a":"2","ab":"2"}`, 2},
		{"waived", `{"a":"1"}`, []specdata.Finding{waived}, `{"a":"1"}`, 0},
		{"no fix", `{"a":"1"}`, []specdata.Finding{{Rule: "a-rule"}}, `{"a":"1"}`, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, n, err := lint.ApplyFixes([]byte(tt.doc), tt.findings)
			if err != nil || string(got) != tt.want || n != tt.applied {
				t.Errorf("got %s, %d applied, error %v; want %s, %d", got, n, err, tt.want, tt.applied)
			}
		})
	}
	_, _, err := lint.ApplyFixes([]byte(`{"a":"1"}`), []specdata.Finding{fix(change("replace", "/b", "2"))})
	if err == nil || !strings.Contains(err.Error(), "fix of rule a-rule for record sources/a at /x cannot be applied") {
		t.Errorf("error is %v, want one that names rule, record and place", err)
	}
}

// TestMend: fixes go in in place; where none can, the file is written again and says so.
func TestMend(t *testing.T) {
	const doc = "# about a\n" + "kind: source\nid: a\ntitle: Sheet\nissuer: Tansy Works # who\ndate: \"2019-03-01\"\ntype: maker\nlicence: free\n" +
		"waivers:\n  - rule: no-edition # first\n    at: /edition\n    value: draft\n    reason: agreed with the issuer\n    until: \"2027-01-31\"\n    by: Piet Oram\n" +
		"  - {rule: no-title, at: /edition, value: draft, reason: agreed with the issuer, until: \"2027-01-31\", by: Piet Oram}\n"
	fix := func(op, path, value string) specdata.Finding {
		return specdata.Finding{Rule: "a-rule", Record: "sources/a", Fix: []specdata.Change{{Op: op, Path: path, Value: value}}}
	}
	tests := []struct {
		name      string
		findings  []specdata.Finding
		has, lost string
		applied   int
		rewritten bool
	}{
		{"in place", []specdata.Finding{fix("replace", "/title", "Chassis sheet"), fix("replace", "/issuer", "Tansy")}, "title: Chassis sheet\nissuer: Tansy # who", "", 2, false},
		{"a waiver of two", []specdata.Finding{fix("remove", "/waivers/0", "")}, "waivers:\n  - {rule: no-title", "no-edition", 1, false},
		{"the other", []specdata.Finding{fix("remove", "/waivers/1", "")}, "  - rule: no-edition # first", "no-title", 1, false},
		{"all waivers", []specdata.Finding{fix("remove", "/waivers", "")}, "licence: free\n", "waivers", 1, false},
		{"added", []specdata.Finding{fix("add", "/edition", "2")}, "edition: \"2\"", "# about a", 1, true},
		{"nothing", nil, "# about a", "", 0, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m, err := lint.Mend("sources/a.yaml", []byte(doc), tt.findings)
			if err != nil {
				t.Fatal(err)
			}
			if m.Applied != tt.applied || m.Rewritten != tt.rewritten || !strings.Contains(string(m.Data), tt.has) || tt.lost != "" && strings.Contains(string(m.Data), tt.lost) {
				t.Errorf("applied %d, rewritten %v:\n%s", m.Applied, m.Rewritten, m.Data)
			}
		})
	}
	if _, err := lint.Mend("sources/a.yaml", []byte(doc), []specdata.Finding{fix("remove", "/title", "")}); err == nil {
		t.Error("a fix that makes the record invalid was applied")
	}
}
