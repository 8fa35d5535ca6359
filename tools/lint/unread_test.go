package lint_test

import (
	"slices"
	"testing"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

// TestUnreadIsNotAbsent: what a rule says after it asked for a record whose file
// cannot be read is left out and counted, whether it asked itself or shared the
// answer of another rule; waivers of such a rule are not held to accept anything.
func TestUnreadIsNotAbsent(t *testing.T) {
	const gone = specdata.Name("sources/gone")
	asks := rule("asks-itself", func(p *lint.Pass) {
		if p.Library.Get(gone) == nil {
			p.Reportf("/title", "gone does not exist")
		}
	})
	silent := rule("asks-not", func(p *lint.Pass) { p.Reportf("/title", "something else") })
	missing := rule("wants-another", func(p *lint.Pass) {
		if !p.Incomplete("/title", specdata.KindSource) {
			p.Reportf("/title", "there is no other")
		}
	})
	waived := "waivers: [{rule: asks-itself, at: /title, value: Sheet b, reason: agreed with the issuer, until: \"2027-01-31\", by: Piet Oram}]\n"
	lib := sources(t, source("a"), source("b")+waived)
	o := lint.Options{Rules: []*lint.Rule{asks, silent, missing}, Library: lib, Unread: map[specdata.Name]string{gone: "sources/gone.yaml", "sources/quiet": "sources/quiet.yaml"}}
	rep := run(t, o)
	for _, f := range rep.Findings {
		if f.Rule != "asks-not" {
			t.Errorf("reported although it could not be judged: %s %s [%s]", f.Record, f.Message, f.Rule)
		}
	}
	if len(rep.Findings) != 2 || len(rep.NotChecked) != 4 {
		t.Errorf("%d findings and %d not checked, want 2 and 4", len(rep.Findings), len(rep.NotChecked))
	}
	if want := []lint.Unread{{Record: gone, File: "sources/gone.yaml", Why: "cannot be read", Checks: 2, Records: 2}}; !slices.Equal(rep.Unread, want) {
		t.Errorf("unread is %v, want %v", rep.Unread, want)
	}
	o.Unread = nil
	if rep := run(t, o); len(rep.Unread) != 0 || len(rep.Findings) != 6 {
		t.Errorf("with nothing unreadable: %d findings, want 6 (one of them waived)", len(rep.Findings))
	}
}

// TestUnreadIsShared: rules that share a dry run share what it could not ask.
func TestUnreadIsShared(t *testing.T) {
	var asked []string
	one := func(name string) *lint.Rule {
		r := rule(name, func(p *lint.Pass) {
			asked = append(asked, name)
			if len(p.Operations()) > 0 && p.Operations()[0].Fastener == nil {
				p.Reportf("/title", "fastener does not exist")
			}
		})
		r.AppliesTo = lint.Procedures
		return r
	}
	lib, err := library.NewMemory(entry(t, "procedures/p", `kind: procedure
id: p
title: A job
applies_to: [{vehicle: v}]
assemblies: [a]
sides: none
steps: [{id: a, text: Slacken it., operations: [{do: slacken, target: "fastener:f"}]}]
source: {document: s, at: sheet 9, read_on: "2026-09-14", entered_by: Maud Ibbot, checked_by: Piet Oram}
`))
	if err != nil {
		t.Fatal(err)
	}
	rep := run(t, lint.Options{Rules: []*lint.Rule{one("first-rule"), one("second-rule")}, Library: lib, Unread: map[specdata.Name]string{"fasteners/f": "f.yaml"}})
	if len(asked) != 2 || len(rep.Findings) != 0 || len(rep.Unread) != 1 || rep.Unread[0].Checks != 2 {
		t.Errorf("asked by %v: %v %+v, want both rules left out", asked, rep.Findings, rep.Unread)
	}
}

// TestEveryWaiverCounts: a record may have several.
func TestEveryWaiverCounts(t *testing.T) {
	says := func(name, at string) *lint.Rule {
		return rule(name, func(p *lint.Pass) { p.Reportf(at, "something is off") })
	}
	const until = ", reason: agreed with the issuer, until: \"2027-01-31\", by: Piet Oram}"
	lib := sources(t, source("a")+"waivers:\n"+
		"  - {rule: title-rule, at: /title, value: Sheet a"+until+"\n"+
		"  - {rule: issuer-rule, at: /issuer, value: Tansy Works"+until+"\n"+
		"  - {rule: kind-rule, at: /kind, value: source"+until+"\n")
	rep := run(t, lint.Options{Rules: []*lint.Rule{says("title-rule", "/title"), says("issuer-rule", "/issuer"), says("kind-rule", "/kind")}, Library: lib})
	for _, f := range rep.Findings {
		if f.Waived == "" {
			t.Errorf("not waived: %s %s %q [%s]", f.Pointer, f.Message, f.Value, f.Rule)
		}
	}
	if len(rep.Findings) != 3 {
		t.Errorf("%d findings, want 3", len(rep.Findings))
	}
}
