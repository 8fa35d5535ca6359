// Package sentencecontradictsact holds what sentences, notes and criteria claim against
// the acts they are about.
package sentencecontradictsact

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "sentence-contradicts-act",
	Title:     "a sentence says otherwise than its acts do",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for i := range p.Procedure().Steps {
		t, scope := p.Sentence(i)
		report(p, specdata.At("/steps", i, "text"), "sentence", t, p.Words().Judge(t, scope), nil)
	}
	for _, r := range p.Remarks() {
		t := p.Words().Read(r.Text)
		report(p, r.At, "note", t, p.Words().Judge(t, r.Scope), ofOneAct)
	}
}

// ofOneAct are the claims that a note makes about its own act; it mentions other
// things too, which the act does not know.
var ofOneAct = []claim.Kind{claim.OfTurning, claim.OfHand, claim.OfFacing, claim.OfQuantity, claim.OfSide, claim.OfState, claim.OfPattern}

func report(p *lint.Pass, at, what string, t *claim.Text, ks []claim.Contradiction, only []claim.Kind) {
	for _, k := range ks {
		if only != nil && !slices.Contains(only, k.Kind) {
			continue
		}
		severity := lint.Error
		if !k.Hurts {
			severity = lint.Warning
		}
		p.Report(lint.Problem{
			At: at, Severity: severity,
			Message: what + " says \"" + t.Said(k.From, k.To) + "\" and " + k.Data + "; correct the one that is wrong",
		})
	}
}
