// Package idrepeatedinrecord holds the rule id-repeated-in-record: id given twice in one record.
package idrepeatedinrecord

import (
	_ "embed"
	"iter"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "id-repeated-in-record",
	Title:     "id given twice in one record",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Record,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	switch r := p.Entry.Record.(type) {
	case *specdata.Assembly:
		assembly(p, r)
	case *specdata.Procedure:
		list(p, "/tools", "tool", r.ToolIDs())
		list(p, "/steps", "step", r.StepIDs())
		list(p, "/consumables", "consumable", func(yield func(string) bool) {
			for i := range r.Consumables {
				if !yield(r.Consumables[i].ID) {
					return
				}
			}
		})
	}
}

// list reports ids that occur twice in one list.
func list(p *lint.Pass, at, what string, ids iter.Seq[string]) {
	seen, i := map[string]int{}, 0
	for id := range ids {
		if first, ok := seen[id]; ok {
			p.Report(lint.Problem{
				At: specdata.At(at, i, "id"), Message: what + " id " + id + " is given twice, so nothing can name one of the two; give each its own",
				Related: []specdata.Related{lint.Related(p.Entry, specdata.At(at, first, "id"), "the first")},
			})
		} else {
			seen[id] = i
		}
		i++
	}
}

// assembly also reports an id shared by things of two types: behind and holds
// name a thing by its bare id, and the first of that id is taken.
func assembly(p *lint.Pass, a *specdata.Assembly) {
	seen, index := map[string]place{}, map[string]int{}
	for typ, id := range a.Things() {
		at := specdata.At("/"+typ+"s", index[typ], "id")
		index[typ]++
		first, ok := seen[id]
		switch {
		case !ok:
			seen[id] = place{typ, at}
		case first.typ == typ:
			p.Report(lint.Problem{
				At: at, Message: typ + " id " + id + " is given twice, so nothing can name one of the two; give each its own",
				Related: []specdata.Related{lint.Related(p.Entry, first.at, "the first")},
			})
		case typ != "circuit":
			p.Report(lint.Problem{
				At: at, Severity: lint.Warning, Message: "id " + id + " is that of a " + first.typ + " and of a " + typ + "; behind and holds cannot tell them apart, give each its own",
				Related: []specdata.Related{lint.Related(p.Entry, first.at, "the "+first.typ)},
			})
		}
	}
}

type place struct{ typ, at string }
