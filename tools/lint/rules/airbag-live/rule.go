// Package airbaglive reports: work beside an airbag with the battery on or without a wait.
package airbaglive

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "airbag-live",
	Title:     "work beside an airbag with the battery on or without a wait",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var airbag = lint.MustPhrase(`(?i)\b(air ?bags?|clock[ -]?spring|steering[ -]wheel|steering[ -]column|(?:belt )?pre-?tensioners?|dash|dashboard|(?:front|rear|driver'?s?|passenger'?s?)[ -]seats?|seat (?:rails?|frames?|belts?|buckles?))\b`)

func check(p *lint.Pass) {
	seen := map[string]bool{}
	for _, o := range p.DryRun().Outcomes {
		waited := false
		for _, a := range o.Acts {
			_, id := a.Target.Split()
			switch {
			case a.Do == specdata.Isolate && (id == "airbag" || id == "battery"):
				waited = specdata.HasWord(a.Note, "wait") || specdata.HasWord(a.Step.Text, "wait")
			case a.Do == specdata.Wait:
				waited = waited || dead(a)
			case works(a) && !seen[a.Pointer()] && !(dead(a) && waited):
				seen[a.Pointer()] = true
				judge(p, a)
			}
		}
	}
}

func judge(p *lint.Pass, a *dryrun.Act) {
	thing := p.Thing(a.Target)
	by := airbag.FindString(thing.Title + "; " + thing.Place)
	switch {
	case by == "":
	case dead(a):
		p.Reportf(a.Pointer(), "%s works on %s (%s) and nothing waits after the battery is off; add a wait for the minutes that the maker of the vehicle gives", a.Where(), a.Target, by)
	case thing.Connection == nil || thing.Connection.Electrics == "": // a live connection itself is reported by live-when-opened
		p.Reportf(a.Pointer(), "%s works on %s (%s) with battery and airbag live; add {do: isolate, target: electrics:battery} and a wait before it", a.Where(), a.Target, by)
	}
}

func dead(a *dryrun.Act) bool {
	return slices.Contains(a.Before.Dead, "airbag") || slices.Contains(a.Before.Dead, "battery")
}

func works(a *dryrun.Act) bool {
	switch a.Do {
	case specdata.Slacken, specdata.Remove, specdata.Unlock, specdata.Fit, specdata.Start, specdata.Snug, specdata.Tighten,
		specdata.StageVerb, specdata.Turn, specdata.Disconnect, specdata.Connect, specdata.BackOff,
		specdata.Separate, specdata.Join, specdata.PressOut, specdata.PressIn, specdata.Unclip, specdata.ClipVerb:
		return true
	}
	return false
}
