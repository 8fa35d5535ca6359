// Package newpiecenotlisted reports: a new piece goes on and the order list lacks it.
package newpiecenotlisted

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
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
	used, order := uses(p)
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
			p.Reportf(u.first.Pointer(), "new %s goes on and parts does not list it; add {%s: %s, title: …, quantity: %d}", target, typ, id, u.count)
		case listed < u.count:
			p.Report(lint.Problem{
				At: at, Severity: lint.Warning, Message: fmt.Sprintf("quantity %d of %s is less than the job uses, %d; write %d", listed, target, u.count, u.count),
				Related: []specdata.Related{lint.Related(p.Entry, u.first.Pointer(), "the first that goes on")},
			})
		}
	}
}

// use is how many new pieces of a target one variant puts on, at most.
type use struct {
	first *dryrun.Act
	count int
}

func uses(p *lint.Pass) (map[specdata.Target]use, []specdata.Target) {
	most, order := map[specdata.Target]use{}, []specdata.Target(nil)
	for _, o := range p.DryRun().Outcomes {
		counts := map[specdata.Target]int{}
		for _, a := range o.Acts {
			if !a.New || a.Do != specdata.Start && a.Do != specdata.Fit {
				continue
			}
			n := 1
			if typ, id := a.Target.Split(); len(a.Positions) > 0 {
				n = len(a.Positions)
			} else if f := library.Fastener(p.Library, id); typ == "fastener" && f != nil {
				n = f.Count
			}
			counts[a.Target] += n
			u, seen := most[a.Target]
			if !seen {
				order = append(order, a.Target)
				u.first = a
			}
			u.count = max(u.count, counts[a.Target])
			most[a.Target] = u
		}
	}
	return most, order
}
