// Package weightonslackhubnut reports: weight comes on a wheel bearing whose nut is not final.
package weightonslackhubnut

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
	Name:      "weight-on-slack-hub-nut",
	Title:     "weight comes on a wheel bearing whose nut is not final",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// moves finds an order to move the vehicle; "before the vehicle moves" is none.
var moves = lint.MustPhrase(`(?i)(?:^|[.;,] |\band |\bthen )(?:push|roll|move|wheel|drive) the (?:vehicle|car|van|truck|trailer|lorry)\b`)

func check(p *lint.Pass) {
	seen := map[string]bool{}
	for _, o := range p.DryRun().Outcomes {
		run(p, o, seen)
	}
}

// nut is one bearing nut on one side, as it was loosened.
type nut struct {
	target specdata.Target
	side   specdata.Side
}

func run(p *lint.Pass, o *dryrun.Outcome, seen map[string]bool) {
	made, bearing := map[*dryrun.Act]bool{}, map[specdata.Target]bool{}
	for _, u := range o.Torques {
		made[u.Act] = u.Final
	}
	for _, w := range p.Operations() {
		if w.Fastener != nil && w.Fastener.Joint == specdata.JointBearing {
			bearing[w.Target] = true
		}
	}
	loose := map[nut]*dryrun.Act{}
	var order []nut
	for _, a := range o.Acts {
		n := nut{a.Target, a.Side}
		switch {
		case made[a]:
			delete(loose, n)
		case bearing[a.Target] && loosens(a):
			if loose[n] == nil {
				order = append(order, n)
				standing(p, a, seen)
			}
			loose[n] = a
		case a.Do == specdata.Lower || a.Do == specdata.RoadTest || a.OpIndex <= 0 && moves.MatchString(a.Step.Text):
			for _, n := range order {
				by := loose[n]
				if by == nil || a.Do == specdata.Lower && a.End != by.End || seen[a.Pointer()] {
					continue
				}
				seen[a.Pointer()] = true
				p.Report(lint.Problem{
					At:      a.Pointer(),
					Message: string(n.target) + " is below its final value when " + what(a) + "; the rollers dent the races: tighten it to its final value first",
					Related: []specdata.Related{lint.Related(p.Entry, by.Pointer(), "what left it so")},
				})
			}
		}
	}
}

// crack is how far a bearing nut is cracked loose, in degrees, while the vehicle still
// stands on the wheel: common practice, no source.
const crack = 90

// standing reports a bearing nut that is slackened further than that, or taken out,
// while its wheel carries the vehicle.
func standing(p *lint.Pass, a *dryrun.Act, seen map[string]bool) {
	if a.End == "" || a.Before == nil || !a.Before.End(a.End).WheelsCarry() || seen[a.Pointer()] {
		return
	}
	how := ""
	switch {
	case a.Do == specdata.Remove:
		how = "is taken out"
	case a.Do == specdata.Slacken && a.By.Dimension() == specdata.Angle && a.By.Float("deg") > crack:
		how = "is slackened by " + specdata.Display(a.By)
	default:
		return
	}
	seen[a.Pointer()] = true
	p.Report(lint.Problem{
		At: a.Pointer(), Severity: specdata.Warning,
		Message: string(a.Target) + " " + how + " while the " + a.End + " wheels carry the vehicle; the weight stands on rollers without preload: crack it loose by a quarter turn at most (by: 90 deg) and undo it with the end raised",
	})
}

func loosens(a *dryrun.Act) bool {
	switch a.Do {
	case specdata.Slacken, specdata.Remove, specdata.Start, specdata.Snug, specdata.BackOff, specdata.StageVerb, specdata.Turn:
		return true
	}
	return false
}

func what(a *dryrun.Act) string {
	switch a.Do {
	case specdata.Lower:
		return "the " + a.End + " is lowered"
	case specdata.RoadTest:
		return "the vehicle is driven"
	}
	return "the vehicle is moved"
}
