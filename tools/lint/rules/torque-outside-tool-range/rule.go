// Package torqueoutsidetoolrange reports: the torque is not on the scale of the tool named.
package torqueoutsidetoolrange

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "torque-outside-tool-range",
	Title:     "the torque is not on the scale of the tool named",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 6789", Edition: "2003", Note: "from republications"}, {Kind: lint.Manual, Document: "NAVEDTRA 14001"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, u := range p.Tightenings() {
		t := p.Procedure().ToolOf(u.Act.Tool)
		if t == nil || t.From.IsZero() || t.To.IsZero() {
			continue
		}
		wrench := joint.Wrench{Min: t.From.SI(), Max: t.To.SI()}
		for _, i := range u.Stages {
			q := u.Fastener.Tightening.Stages[i].Torque
			if q.IsZero() || q.Sign() <= 0 {
				continue
			}
			set, through := q.SI(), p.Procedure().ToolOf(u.Act.Through)
			if s, err := joint.SettingThrough(t, through, set); err == nil {
				set = s.Torque
			}
			shown := lint.Torque(q)
			if through != nil {
				shown += ", set at " + lint.NewtonMetres(set) + " through " + specdata.InSentence(through.Title) + ","
			}
			scale := specdata.Display(t.From) + " to " + specdata.Display(t.To)
			switch wrench.Suits(set) {
			case joint.OffScale:
				p.Reportf(u.Act.Pointer()+"/tool", "%s is off the scale of %s, %s; name a wrench that has it", shown, t.Title, scale)
			case joint.BelowProved:
				p.Report(lint.Problem{At: u.Act.Pointer() + "/tool", Severity: lint.Advice, Message: shown + " is under a fifth of the scale of " + t.Title + ", " + scale + ", where its accuracy is not proved; a smaller wrench is better"})
			default:
				continue
			}
			break
		}
	}
}
