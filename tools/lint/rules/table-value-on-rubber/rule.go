// Package tablevalueonrubber finds table values on bolts that squeeze rubber.
package tablevalueonrubber

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "table-value-on-rubber",
	Title:    "general table value on a bolt that squeezes rubber",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Manual, Document: "US Army TB 43-0218"}, {Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}, {Kind: lint.Manual, Document: "US Army TM 9-2320-365-34-2", Clause: "appendix E"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Source != nil && specdata.HasWord(f.Title, "rubber", "hanger", "insulator")
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	i, stage := f.Tightening.FinalTorque()
	src := library.Source(p.Library, f.Source.Document)
	if stage == nil || src == nil || src.Type != "table" {
		return
	}
	p.Reportf(lint.StageAt(i, "torque"), "torque %s comes from the general table %s, and by its title this fastener squeezes rubber, which is crushed before the number is reached; cite the part's own value, or write seat: stop", lint.Torque(stage.Torque), src.ID)
}
