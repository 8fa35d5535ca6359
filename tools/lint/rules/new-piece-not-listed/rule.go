// Package newpiecenotlisted reports: a new piece goes on and the order list lacks it.
package newpiecenotlisted

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "new-piece-not-listed",
	Title:     "a new piece goes on and the order list lacks it",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	used, order := p.NewPieces()
	for _, target := range order {
		typ, id := target.Split()
		listed, at := 0, ""
		for i := range r.Parts {
			if typ == "fastener" && r.Parts[i].Fastener == id || typ == "part" && r.Parts[i].Part == id {
				listed, at = listed+r.Parts[i].Quantity, specdata.At("/parts", i, "quantity")
			}
		}
		u := used[target]
		switch {
		case at == "":
			p.Reportf(u.First.Pointer(), "new %s goes on and parts does not list it; add {%s: %s, title: …, quantity: %d}", target, typ, id, u.Count)
		case listed < u.Count:
			p.Report(lint.Problem{
				At: at, Severity: lint.Warning, Message: fmt.Sprintf("quantity %d of %s is less than the job uses, %d; write %d", listed, target, u.Count, u.Count),
				Related: []specdata.Related{lint.Related(p.Entry, u.First.Pointer(), "the first that goes on")},
			})
		}
	}
}
