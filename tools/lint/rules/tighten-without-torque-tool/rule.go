// Package tightenwithouttorquetool reports: a torque is reached with no torque tool named.
package tightenwithouttorquetool

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "tighten-without-torque-tool",
	Title:     "a torque is reached with no torque tool named",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TB 43-0218"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, u := range p.Tightenings() {
		torque := false
		for _, i := range u.Stages {
			torque = torque || u.Fastener.Tightening.Stages[i].Torque.Sign() > 0
		}
		if !torque {
			continue
		}
		t := p.Procedure().ToolOf(u.Act.Tool)
		switch {
		case u.Act.Tool == "":
			p.Reportf(u.Act.Pointer(), "%s comes to a torque and no tool is named; %s", u.Act.Target, mend(p.Procedure()))
		case t != nil && t.Kind != "torque-wrench" && t.Kind != "impact":
			p.Reportf(u.Act.Pointer()+"/tool", "%s comes to a torque with %s, which measures none; name a torque wrench", u.Act.Target, t.Title)
		}
	}
}

// mend names the torque wrench to write on the act, or how to list one.
func mend(r *specdata.Procedure) string {
	for i := range r.Tools {
		if t := &r.Tools[i]; t.Kind == "torque-wrench" {
			return "name a torque wrench of the set-up, like tool: " + t.ID
		}
	}
	return "list a torque wrench under tools, like {id: torque-large, kind: torque-wrench, title: \"Torque wrench, large\"}, and name it: tool: torque-large"
}
