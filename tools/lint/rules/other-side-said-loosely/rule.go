// Package othersidesaidloosely reports: a sentence sends the reader to the other side and nothing is done there.
package othersidesaidloosely

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
	Name:      "other-side-said-loosely",
	Title:     "a sentence sends the reader to the other side and nothing is done there",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// loose finds a sentence that sends the reader over. It must end with the side, so that
// "the same on the other side of the disc" is not taken for a side of the vehicle.
var loose = lint.MustPhrase(`(?i)\b(same|same again|same way|repeat|likewise|do it|do this)\b[^.,;:]{0,40}\b(?:on|for|at) the (?:(other|opposite)(?:[ -]hand)? side|(left|right)(?:[ -]hand)?(?: side)?)(?: of the (?:vehicle|car|van|truck|axle))?\s*(?:[.,;:!]|$)`)

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Steps {
		m := loose.FindString(r.Steps[i].Text)
		if m == "" || sided(&r.Steps[i]) || i+1 < len(r.Steps) && sided(&r.Steps[i+1]) {
			continue
		}
		p.Reportf(specdata.At("/steps", i, "text"), "step %q says %q, but has neither a repeat nor an operation with a side; write repeat: {from: STEP, to: STEP, side: left or right}, and say what is handed", r.Steps[i].ID, m)
	}
}

// sided reports whether a step says for itself what is done on which side.
func sided(s *specdata.Step) bool {
	return s.Repeat != nil || s.Side != "" || slices.ContainsFunc(s.Operations, func(op specdata.Operation) bool { return op.Side != "" })
}
