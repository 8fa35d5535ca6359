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

// BenchmarkRules runs all rules over about ten thousand records: the demo library
// with its ids changed, again and again. "changed" judges what the change of one
// fastener affects, which is what an editor waits for.
func BenchmarkRules(b *testing.B) {
	lib := copies(b, 36)
	o := lint.Options{Rules: rules.All, Library: lib, Date: ruletest.Date}
	run := func(b *testing.B, o lint.Options) {
		for b.Loop() {
			rep, err := lint.Run(context.Background(), o)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(rep.Records), "records")
		}
	}
	b.Run("all", func(b *testing.B) { run(b, o) })
	b.Run("changed", func(b *testing.B) {
		for b.Loop() {
			o := o
			o.Only = lint.Affected(lib, []specdata.Name{"fasteners/quill-1-rear-hub-nut-c7"})
			rep, err := lint.Run(context.Background(), o)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(rep.Records), "records")
		}
	})
}

// copies returns the demo library n times, each time with its ids ending differently.
func copies(b *testing.B, n int) *library.Memory {
	b.Helper()
	lib, err := demo.Library()
	if err != nil {
		b.Fatal(err)
	}
	var all []*library.Entry
	for _, k := range specdata.Kinds {
		all = slices.AppendSeq(all, lib.All(k))
	}
	var entries []*library.Entry
	for c := range n {
		var pairs []string
		for _, e := range all {
			id := e.Name().ID()
			to := fmt.Sprintf("%s-c%d", id, c)
			pairs = append(pairs, `"`+id+`"`, `"`+to+`"`, `:`+id+`"`, `:`+to+`"`, `:`+id+`}`, `:`+to+`}`)
		}
		rename := strings.NewReplacer(pairs...)
		for _, e := range all {
			doc, err := document.ReadCanonical([]byte(rename.Replace(string(e.Canonical))))
			if err != nil {
				b.Fatal(err)
			}
			entries = append(entries, library.NewEntry(doc))
		}
	}
	m, err := library.NewMemory(entries...)
	if err != nil {
		b.Fatal(err)
	}
	return m
}
