// Package fulltravelnotchecked reports: a front hose, steering or strut was off and full travel is not checked.
package fulltravelnotchecked

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
	Name:      "full-travel-not-checked",
	Title:     "a front hose, steering or strut was off and full travel is not checked",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "49 CFR part 570"}, lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	moving = lint.MustPhrase(`(?i)\b(brake hose|steering|strut|track[ -]rod)\b`)
	travel = lint.MustPhrase(`(?i)\block[ -]to[ -]lock\b|\b(?:full|both|either|each)[ -](?:steering )?(?:lock|travel|droop)s?\b|\bdroop\b`)
)

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		off := map[specdata.Target]bool{}
		for _, a := range o.Acts {
			if a.End != "front" {
				continue
			}
			switch a.Do {
			case specdata.Remove, specdata.Disconnect, specdata.Separate:
				off[a.Target] = true
			case specdata.Fit, specdata.Connect, specdata.Join, specdata.Start:
				title := p.Thing(a.Target).Title
				if !off[a.Target] || !moving.MatchString(title) || checked(p, a) {
					continue
				}
				p.Reportf(a.Pointer(), "%s is made again and nothing later looks at full travel; add a check from lock to lock and at full droop that nothing pulls tight, twists or touches", a.Target)
				return // one check serves all of them
			}
		}
	}
}

// checked reports whether the step of an act or a later one mentions full travel.
func checked(p *lint.Pass, a *dryrun.Act) bool {
	steps := p.Procedure().Steps
	from := a.StepIndex
	if a.Repeats > from {
		from = a.Repeats
	}
	for i := from; i < len(steps); i++ {
		if travel.MatchString(steps[i].Text) {
			return true
		}
		for _, op := range steps[i].Operations {
			if travel.MatchString(op.Accept + "; " + op.Note + "; " + string(op.Target)) {
				return true
			}
		}
	}
	return false
}
