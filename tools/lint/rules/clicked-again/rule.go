// Package clickedagain reports: a fastener is clicked again right after its final tightening and called checked.
package clickedagain

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "clicked-again",
	Title:     "a fastener is clicked again right after its final tightening and called checked",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "NAVEDTRA 14001", Note: "back off and retighten"}, {Kind: lint.Manual, Document: "NAVEDTRA 14003", Note: "back off and retighten"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var click = lint.MustPhrase(`(?i)\b(click|torque|wrench|value)`)

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		final := map[specdata.Target]bool{} // reached its value, and nothing moved since
		for _, a := range o.Acts {
			switch a.Do {
			case specdata.Tighten, specdata.StageVerb, specdata.Turn:
				final[a.Target] = true
			case specdata.Raise, specdata.Lower, specdata.LoadSuspension, specdata.UnloadSuspension, specdata.RoadTest, specdata.Wait, specdata.BackOff, specdata.Slacken:
				clear(final)
			case specdata.Check:
				typ, _ := a.Target.Split()
				tool := p.Procedure().ToolOf(a.Tool)
				if typ == "fastener" && final[a.Target] && (tool != nil && tool.Kind == "torque-wrench" || click.MatchString(a.Accept)) {
					p.Reportf(a.Pointer(), "%s is clicked again with nothing moved since its tightening, which only shows that it is not looser; back it off and tighten it again, or take the check away", a.Target)
					return
				}
			}
		}
	}
}
