package cautionafterhazard

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
	Name:      "caution-after-hazard",
	Title:     "the caution comes after the act it warns of",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "MIL-STD-2106A(SH) appendix B",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for _, h := range p.Hazards() {
		warns := func(c *specdata.Caution) bool { return c.Hazard == h.Name }
		if p.Warns(h.Act.StepIndex, warns) != nil {
			continue
		}
		for i := range r.Steps {
			j := slices.IndexFunc(r.Steps[i].Cautions, func(c specdata.Caution) bool { return warns(&c) })
			if j < 0 {
				continue
			}
			p.Report(lint.Problem{
				At:      specdata.At(specdata.At("/steps", i, "cautions"), j, ""),
				Message: "caution about " + h.Name + " comes too late: " + h.Act.Where() + " " + h.Why + " before it; move it to that step or to the set-up block",
				Related: []specdata.Related{lint.Related(p.Entry, h.Act.Pointer(), "the act it warns of")},
			})
			break
		}
	}
}
