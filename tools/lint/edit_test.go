package lint_test

import (
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/tools/lint"
)

func TestTextEdits(t *testing.T) {
	const doc = `# Wheel bolt, as the sheet has it.
kind: fastener
id: bolt
title: 'Wheel bolt, "long"'   # keep me
applies_to:
  - {vehicle: v, side: each}
place: wheel
fitting:
  spacer: none
note: >
  two
  lines
count: 5
joint: wheel
drive: {turn: head, head: hex 17 mm}
tightening: {stages: [{torque: 110 N.m, also: 18 lbf.ft}], state: on-ground, drag: not-applicable, impact: removal-only} # °µ
reuse: {rule: reuse}
`
	set := func(path, value string) []specdata.Change {
		return []specdata.Change{{Op: "replace", Path: path, Value: value}}
	}
	remove := func(path string) []specdata.Change { return []specdata.Change{{Op: "remove", Path: path}} }
	tests := []struct {
		name     string
		fix      []specdata.Change
		from, to string // both "": no edits
	}{
		{"in a flow map", set("/tightening/stages/0/also", "81 lbf.ft"), "also: 18 lbf.ft}", "also: 81 lbf.ft}"},
		{"bare", set("/place", "front wheel"), "place: wheel\n", "place: front wheel\n"},
		{"bare that needs quotes", set("/fitting/spacer", "wheel: front"), "spacer: none\n", "spacer: \"wheel: front\"\n"},
		{"bare that YAML reads otherwise", set("/fitting/spacer", "No"), "spacer: none\n", "spacer: \"No\"\n"},
		{"quoted", set("/title", "Wheel bolt, \"short\""), `'Wheel bolt, "long"'   #`, `"Wheel bolt, \"short\""   #`},
		{"two", append(set("/tightening/stages/0/also", "82 lbf.ft"), set("/tightening/stages/0/torque", "111 N.m")...), "{torque: 110 N.m, also: 18 lbf.ft}", "{torque: 111 N.m, also: 82 lbf.ft}"},
		{"over lines", set("/note", "one"), "", ""},
		{"not a scalar", set("/drive", "one"), "", ""},
		{"absent", set("/lock", "one"), "", ""},
		{"add", []specdata.Change{{Op: "add", Path: "/safety", Value: "wheel"}}, "", ""},
		{"remove", remove("/note"), "note: >\n  two\n  lines\n", ""},
		{"remove what shares its line", remove("/tightening/stages/0/also"), "", ""},
		{"remove what must be there", remove("/place"), "", ""},
		{"makes it unreadable", set("/tightening/stages/0/also", "81"), "", ""},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			edits := lint.TextEdits("fasteners/bolt.yaml", []byte(doc), tt.fix)
			if tt.from == "" {
				if edits != nil {
					t.Errorf("edits are %v, want none", edits)
				}
				return
			}
			want := strings.Replace(doc, tt.from, tt.to, 1)
			if got := string(lint.ApplyEdits([]byte(doc), edits)); edits == nil || got != want {
				t.Errorf("edits %v give\n%s\nwant\n%s", edits, got, want)
			}
		})
	}
	if edits := lint.TextEdits("fasteners/bolt.yaml", []byte("kind: ["), set("/kind", "x")); edits != nil {
		t.Errorf("an unreadable file gives edits %v", edits)
	}
}

// FuzzTextEdits: whatever the text, edits are none or turn it into the fixed document.
func FuzzTextEdits(f *testing.F) {
	base := "kind: source\nid: a\ntitle: Sheet\nissuer: 'Tansy ''W'' Works' # who\ndate: \"2019-03-01\"\ntype: maker\nlicence: free\n"
	f.Add(base, "/issuer", "x: y")
	f.Add(base, "/title", "no")
	f.Add("{\"kind\":\"source\",\"id\":\"a\",\"title\":\"\\u00e9\",\"issuer\":\"T\",\"date\":\"2019-03-01\",\"type\":\"maker\",\"licence\":\"free\"}", "/title", "\"")
	f.Fuzz(func(t *testing.T, text, pointer, value string) {
		doc, _ := document.Read("sources/a.yaml", []byte(text))
		if doc == nil {
			return
		}
		fix := []specdata.Change{{Op: "replace", Path: pointer, Value: value}}
		edits := lint.TextEdits("sources/a.yaml", []byte(text), fix)
		if edits == nil {
			return
		}
		after, findings := document.Read("sources/a.yaml", lint.ApplyEdits([]byte(text), edits))
		if after == nil {
			t.Fatalf("edited text cannot be read: %v", findings)
		}
		want, n, err := lint.ApplyFixes(doc.Canonical, []specdata.Finding{{Fix: fix}})
		if err != nil || n != 1 || string(after.Canonical) != string(want) {
			t.Errorf("edits give %s, the fix %s (%v)", after.Canonical, want, err)
		}
	})
}
