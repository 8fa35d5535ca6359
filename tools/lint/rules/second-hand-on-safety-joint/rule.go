// Package secondhandonsafetyjoint holds the rule second-hand-on-safety-joint: value of a safety joint that nobody read in the source.
package secondhandonsafetyjoint

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "second-hand-on-safety-joint",
	Title:     "value of a safety joint that nobody read in the source",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Safety != "" && f.Source != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	var how string
	switch f.Source.Confidence {
	case "second-hand":
		how = "was not read in the source but taken from somewhere that quotes it"
	case "estimated":
		how = "is an estimate"
	default:
		return
	}
	p.Report(lint.Problem{At: "/source/confidence", Message: fmt.Sprintf("value of a safety joint (%s) %s; read it in the vehicle maker's own information before it is used", f.Safety, how)})
}
