// Package coldnotchecked reports: something is done cold and nobody checks that it is.
package coldnotchecked

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "cold-not-checked",
	Title:     "something is done cold and nobody checks that it is",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var cold = []string{"cold", "cool", "cooled"}

func check(p *lint.Pass) {
	first := len(p.Procedure().Steps)
	for i := range p.Procedure().Steps {
		if says(&p.Procedure().Steps[i]) {
			first = i
			break
		}
	}
	for _, u := range p.Tightenings() {
		if u.Final && u.Fastener.Tightening.Needs(specdata.StateCold) && u.Act.StepIndex < first {
			p.Reportf(u.Act.Pointer(), "%s is tightened cold by its record, and no step up to here says that it is cold; add a check with its criterion", u.Act.Target)
			return
		}
	}
	for _, h := range p.Hazards() {
		if h.Name == "hot-fluid" && h.Least == "warning" && h.Act.StepIndex < first {
			p.Reportf(h.Act.Pointer(), "%s %s, and no step up to here says that it is cold; add a check with its criterion", h.Act.Where(), h.Why)
			return
		}
	}
}

func says(s *specdata.Step) bool {
	if specdata.HasWord(s.Text, cold...) {
		return true
	}
	for i := range s.Operations {
		if op := &s.Operations[i]; specdata.HasWord(op.Accept, cold...) || specdata.HasWord(op.Note, cold...) {
			return true
		}
	}
	return false
}
