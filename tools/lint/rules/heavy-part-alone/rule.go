// Package heavypartalone reports: a heavy part is moved with no word of help.
package heavypartalone

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "heavy-part-alone",
	Title:     "a heavy part is moved with no word of help",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "UK HSE L23", Note: "manual handling guideline figures"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// alone is the mass in kg from which one person does not lift without an aid.
const alone = 25

var help = []string{"two", "second", "helper", "person", "people", "assistant", "lift", "lifts", "hoist", "crane", "jack", "dolly", "support", "trolley", "table", "sling"}

func check(p *lint.Pass) {
	aided := false
	for _, w := range p.Operations() {
		if w.Do == specdata.SetAid && specdata.HasWord(string(w.Target)+" "+w.With, help...) {
			aided = true
		}
		if !w.Uses(specdata.Remove, specdata.Fit) {
			continue
		}
		part := p.Thing(w.Target).Part
		if part == nil || !part.Heavy && (part.Wheel || part.Mass.IsZero() || part.Mass.SI() < alone) || aided || helped(w) {
			continue
		}
		weight := ""
		if !part.Mass.IsZero() {
			weight = " (" + specdata.Display(part.Mass) + ")"
		}
		p.Reportf(w.At, "%s%s is heavy, and the step speaks neither of a second person nor of a lifting aid; say who or what carries it", strings.ToLower(part.Title), weight)
	}
}

func helped(w lint.Written) bool {
	for i := range w.Step.Cautions {
		if specdata.HasWord(w.Step.Cautions[i].Text, help...) {
			return true
		}
	}
	return w.Says(help...) || w.Listed != nil && (w.Listed.Kind == "jack" || specdata.HasWord(w.Listed.Title, help...))
}
