package main

import (
	"context"
	"slices"
	"time"

	"proofload/server/check"
	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// judge is the checker of the server: the very rules of the command line, on today's date.
func judge(ctx context.Context, lib library.Library, only []specdata.Name, old library.Library) (*check.Report, error) {
	rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Only: only, Old: old, Date: time.Now().UTC()})
	if err != nil {
		return nil, err
	}
	return &check.Report{Findings: rep.Findings, NotChecked: rep.NotChecked}, nil
}

// ruleCatalogue describes the rules, and what reading and waiving themselves report.
func ruleCatalogue() []check.Rule {
	var out []check.Rule
	for _, r := range slices.Concat(rules.All, lint.Builtin()) {
		out = append(out, check.Rule{
			Name: r.Name, Title: r.Title, Severity: r.Severity, Source: r.Source(), Edition: r.Edition, Kinds: r.AppliesTo.Kinds(),
			Compares: r.Change != nil, NoWaiver: r.NoWaiver, Doc: r.Doc,
		})
	}
	return out
}
