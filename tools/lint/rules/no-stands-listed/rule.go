// Package nostandslisted reports: the vehicle is raised and the set-up lists no axle stand.
package nostandslisted

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "no-stands-listed",
	Title:     "the vehicle is raised and the set-up lists no axle stand",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "UK HSE INDG434"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	listed := func(t specdata.Tool) bool {
		return t.Kind == "stand" || t.Kind == "lift" || specdata.HasWord(t.Title, "lift", "ramp")
	}
	for _, w := range p.Operations() {
		if typ, _ := w.Target.Split(); typ == "vehicle" {
			continue // on a lift, which the dry run asks for
		}
		if w.Do == specdata.Raise && !slices.ContainsFunc(r.Tools, listed) {
			p.Reportf(w.At, "the %s is raised and the set-up lists no axle stand; add it to tools, as many as are needed and rated for the vehicle", w.Target)
			return
		}
	}
}
