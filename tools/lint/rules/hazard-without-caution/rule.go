package hazardwithoutcaution

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "hazard-without-caution",
	Title:     "an act that can hurt someone has no caution before it",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "ANSI Z535.4 (testdata/reference/signal_words.csv)",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	for _, h := range p.Hazards() {
		warns := func(c *specdata.Caution) bool { return c.Hazard == h.Name }
		if p.Warns(len(r.Steps), warns) != nil {
			continue // too late is another rule's word
		}
		p.Report(lint.Problem{At: h.Act.Pointer(), Severity: severity(h), Message: h.Act.Where() + " " + h.Why + ", and no caution warns of it; add {signal: " + h.Least + ", hazard: " + h.Name + ", text: …} to the set-up block or the step"})
	}
}

func severity(h dryrun.Hazard) specdata.Severity {
	switch {
	case h.Grave:
		return lint.Error
	case h.Name == "hot-fluid" && h.Least == "caution":
		return lint.Advice
	}
	return lint.Warning
}
