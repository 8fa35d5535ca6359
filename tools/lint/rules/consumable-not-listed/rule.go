// Package consumablenotlisted reports: something is applied or filled in that the set-up does not list.
package consumablenotlisted

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "consumable-not-listed",
	Title:     "something is applied or filled in that the set-up does not list",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-40051-2"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for _, w := range p.Operations() {
		switch {
		case !w.Uses(specdata.Apply, specdata.Fill, specdata.Clean):
		case w.With == "" && w.Do == specdata.Clean:
		case w.With == "":
			p.Reportf(w.At, "%s of %s names no product; list it under consumables and name its id in with", w.Do, w.Target)
		case !known(r, w.With):
			p.Reportf(w.At+"/with", "%q is neither a consumable nor a tool of the set-up%s; list it, or name one that is listed", w.With, specdata.DidYouMean(w.With, ids(r)))
		}
	}
}

func known(r *specdata.Procedure, with string) bool {
	if r.HasTool(with) {
		return true
	}
	for i := range r.Consumables {
		if c := &r.Consumables[i]; c.ID == with || specdata.SameWords(c.Title, with) {
			return true
		}
	}
	for i := range r.Tools {
		if specdata.SameWords(r.Tools[i].Title, with) {
			return true
		}
	}
	return false
}

func ids(r *specdata.Procedure) func(yield func(string) bool) {
	return func(yield func(string) bool) {
		for i := range r.Consumables {
			if !yield(r.Consumables[i].ID) {
				return
			}
		}
	}
}
