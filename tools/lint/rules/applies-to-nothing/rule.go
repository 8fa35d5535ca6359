// Package appliestonothing holds the rule applies-to-nothing: restricts itself to nothing that was built.
package appliestonothing

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "applies-to-nothing",
	Title:     "restricts itself to nothing that was built",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	clauses := specdata.AppliesOf(p.Entry.Record)
	for i := range clauses {
		a := &clauses[i]
		if a.Built.Whole() {
			continue
		}
		v := library.Vehicle(p.Library, a.Vehicle)
		if v == nil || a.Built.Check() != nil || v.Built.Check() != nil || a.Built.Overlaps(v.Built) {
			continue
		}
		p.Report(lint.Problem{
			At:      specdata.At("/applies_to", i, "built"),
			Message: "clause applies to nothing: it is for builds " + a.Built.String() + ", and " + v.ID + " was built " + v.Built.String() + "; correct the range, or take the clause out",
			Related: []specdata.Related{lint.Related(p.Library.Get(v.Name()), "/built", "the vehicle's build range")},
		})
	}
	if r, ok := p.Entry.Record.(*specdata.Procedure); ok {
		for i := range r.Steps {
			step(p, i, &r.Steps[i], clauses)
		}
	}
}

// step speaks where no clause of the procedure leaves the step anything.
func step(p *lint.Pass, i int, s *specdata.Step, clauses []specdata.Applies) {
	if len(s.Where) == 0 || slices.ContainsFunc(clauses, func(a specdata.Applies) bool {
		return a.Overlap(specdata.Applies{Vehicle: a.Vehicle, Where: s.Where, Side: a.Side})
	}) {
		return
	}
	p.Reportf(specdata.At("/steps", i, "where"), "step %q is for nobody: it is restricted to %s, which no clause of the procedure admits; correct the restriction, or take the step out",
		s.ID, specdata.Applies{Where: s.Where}.Options())
}
