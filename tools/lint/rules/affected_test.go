package rules_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
	"proofload/tools/lint/ruletest"
)

// TestAffectedIsEnough changes records of the demo library one at a time and holds
// the findings before against those after: whatever record gained or lost one must
// be among those that lint.Affected names, or a run of what changed would miss it.
func TestAffectedIsEnough(t *testing.T) {
	lib, err := demo.Library()
	if err != nil {
		t.Fatal(err)
	}
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		entries = slices.AppendSeq(entries, lib.All(k))
	}
	before := findingsByRecord(t, lib)
	changes := []struct {
		name, from, to string
	}{
		{"removed", "", ""},
		{"duplicate", `"id":"`, `"id":"duplicate-`}, // beside the record, not in place of it
		{"other thread", `"designation":"M`, `"designation":"M1`},
		{"other place", `"place":"`, `"place":"other `},
		{"other title", `"title":"`, `"title":"Other `},
		{"other source", `"document":"`, `"document":"x-`},
		{"torque moved", ` N.m"`, `1 N.m"`},
		{"other option", `"disc"`, `"disk"`},
	}
	tried := 0
	for i := 0; i < len(entries); i += 31 { // a sample over all kinds; every record takes minutes
		for _, c := range changes {
			now, name, ok := changed(t, entries, i, c.from, c.to)
			if !ok {
				continue
			}
			tried++
			affected := map[specdata.Name]bool{}
			for _, n := range append(lint.Affected(lib, []specdata.Name{name}), lint.Affected(now, []specdata.Name{name})...) {
				affected[n] = true
			}
			after := findingsByRecord(t, now)
			for n, was := range before {
				if is, ok := after[n]; ok && is != was && !affected[n] {
					t.Errorf("%s %s: findings of %s changed and it is not among the affected:\n%s\nnow\n%s", name, c.name, n, was, is)
				}
			}
		}
	}
	if tried < 20 {
		t.Errorf("only %d changes could be tried", tried)
	}
}

// changed returns the library with one record removed (from is empty) or its first
// match replaced, and the name of what changed; ok is false where the record has no
// such text or is then invalid. A record that gets another name joins its original.
func changed(t *testing.T, entries []*library.Entry, i int, from, to string) (lib *library.Memory, name specdata.Name, ok bool) {
	t.Helper()
	rest := append(slices.Clone(entries[:i]), entries[i+1:]...)
	name = entries[i].Name()
	if from != "" {
		text := strings.Replace(string(entries[i].Canonical), from, to, 1)
		if text == string(entries[i].Canonical) {
			return nil, name, false
		}
		doc, err := document.ReadCanonical([]byte(text))
		if err != nil {
			return nil, name, false
		}
		rest = append(rest, library.NewEntry(doc))
		if renamed := doc.Record.Name(); renamed != name {
			rest, name = append(rest, entries[i]), renamed
		}
	}
	lib, err := library.NewMemory(rest...)
	if err != nil {
		t.Fatal(err)
	}
	return lib, name, true
}

// findingsByRecord returns each record's findings as text without places in files,
// "" for a record without any.
func findingsByRecord(t *testing.T, lib library.Library) map[specdata.Name]string {
	t.Helper()
	rep, err := lint.Run(context.Background(), lint.Options{Rules: rules.All, Library: lib, Date: ruletest.Date})
	if err != nil {
		t.Fatal(err)
	}
	out := map[specdata.Name]string{}
	for _, k := range specdata.Kinds {
		for e := range lib.All(k) {
			out[e.Name()] = ""
		}
	}
	for _, f := range rep.Findings {
		out[f.Record] += fmt.Sprintf("%s %s %s\n", f.Rule, f.Pointer, f.Message)
	}
	return out
}
