// Package turnedatthewrongend finds tightenings that turn the head for a value of the nut, or the reverse.
package turnedatthewrongend

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
	Name:      "turned-at-the-wrong-end",
	Title:     "a fastener is turned at the end its value is not for",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-365-34-2"}, {Kind: lint.Manual, Document: "NAVEDTRA 14001"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	turning = lint.MustPhrase(`(?i)\bturn(?:ing|s)?\s+(?:only\s+)?the\s+(?:(?:bolt|screw|hex|hexagon)[- ])?(head|nut)s?\b`)
	// unless takes a sentence out: it forbids the turning, or it has thought of the difference.
	unless = lint.MustPhrase(`(?i)\b(not|never|without|instead|cannot|stops?|aim|upper|high|higher|top)\b|n't\b`)
)

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		f := w.Fastener
		if f == nil || f.Drive == nil || !w.Uses(specdata.Tighten, specdata.StageVerb, specdata.Turn) {
			continue
		}
		end := turned(w.Note)
		if end == "" && alone(w) {
			end = turned(w.Step.Text)
		}
		if end != "" && (f.Drive.Turn == "head" || f.Drive.Turn == "nut") && end != f.Drive.Turn {
			p.Reportf(w.StepAt+"/text", "%s is tightened by turning the %s, and the value of %s is for the %s; friction differs under it: turn the %s, or say that the reader aims high in the range",
				f.Title, end, f.ID, f.Drive.Turn, f.Drive.Turn)
		}
	}
}

// turned returns the end a text has turned, "" where it names none, or both.
func turned(text string) string {
	if !specdata.HasWord(text, "turn", "turning") || unless.MatchString(text) {
		return ""
	}
	end := ""
	for _, m := range turning.FindAllStringSubmatch(text, -1) {
		e := strings.ToLower(m[1])
		if end != "" && end != e {
			return ""
		}
		end = e
	}
	return end
}

// alone reports whether the step acts on no other fastener, whose head or nut the
// sentence could mean.
func alone(w lint.Written) bool {
	for _, o := range w.Step.Operations {
		if typ, _ := o.Target.Split(); typ == "fastener" && o.Target != w.Target {
			return false
		}
	}
	return true
}
