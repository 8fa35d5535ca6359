// Package deferredtowrongstate reports: a tightening is put off to another state than its record wants.
package deferredtowrongstate

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "deferred-to-wrong-state",
	Title:     "a tightening is put off to another state than its record wants",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Do != specdata.Defer || w.Fastener == nil || w.Fastener.Tightening.State == specdata.StateAny {
			continue
		}
		state := w.Fastener.Tightening.State
		switch {
		case w.Until == "":
			p.Reportf(w.At, "%s is put off and the step says not until when; add until: %s", w.Target, state)
		case w.Until != state && !(state == specdata.StateRideHeight && w.Until == specdata.StateOnGround):
			p.Reportf(w.At+"/until", "%s is put off until %s, and its record wants %s; write until: %s", w.Target, w.Until, state, state)
		}
	}
}
