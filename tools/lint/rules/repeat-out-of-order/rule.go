// Package repeatoutoforder holds the rule repeat-out-of-order: repeat names steps that are not a range before it.
package repeatoutoforder

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "repeat-out-of-order",
	Title:     "repeat names steps that are not a range before it",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		rep := r.Steps[i].Repeat
		if rep == nil {
			continue
		}
		at := specdata.At("/steps", i, "repeat")
		from, to := find(p, at+"/from", r, rep.From), find(p, at+"/to", r, rep.To)
		switch {
		case from < 0 || to < 0:
		case from > to:
			p.Reportf(at+"/to", "repeat runs backwards: step %q comes after %q; swap the two", rep.From, rep.To)
		case to >= i:
			p.Reportf(at+"/to", "repeat of %q is not of earlier steps: it stands in step %q; end the range before the step that repeats it", rep.To, r.Steps[i].ID)
		}
	}
}

// find returns the index of a step, -1 after saying that there is none.
func find(p *lint.Pass, at string, r *specdata.Procedure, id string) int {
	i := slices.IndexFunc(r.Steps, func(s specdata.Step) bool { return s.ID == id })
	if i < 0 {
		p.Report(lint.Problem{At: at, Message: fmt.Sprintf("step %q does not exist%s; name a step before this one", id, specdata.DidYouMean(id, r.StepIDs()))})
	}
	return i
}
