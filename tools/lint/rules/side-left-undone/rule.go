// Package sideleftundone finds jobs for both sides that are done on one.
package sideleftundone

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
	Name:      "side-left-undone",
	Title:     "a job for both sides is done on one",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Order,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	if p.Procedure().Sides != "both" {
		return
	}
	for _, o := range p.DryRun().Outcomes {
		var left, right *dryrun.Act
		for _, a := range o.Acts {
			switch a.Side {
			case specdata.SideLeft:
				left = a
			case specdata.SideRight:
				right = a
			}
		}
		switch {
		case left != nil && right == nil:
			say(p, left, "left", "right")
		case right != nil && left == nil:
			say(p, right, "right", "left")
		}
	}
}

func say(p *lint.Pass, last *dryrun.Act, done, undone string) {
	p.Report(lint.Problem{
		At:      "/sides",
		Message: "job is for both sides, and what it does on the " + done + " is done nowhere on the " + undone + "; add a step {repeat: {from: …, to: …, side: " + undone + "}}, or write sides: one",
		Related: []specdata.Related{lint.Related(p.Entry, last.Pointer(), "the last act on the "+done)},
	})
}
