package airbaglive

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
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
	Source:    "common practice",
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
	words, electrics := about(p, a.Target)
	by := airbag.FindString(words)
	switch {
	case by == "":
	case dead(a):
		p.Reportf(a.Pointer(), "%s works on %s (%s) and nothing waits after the battery is off; add a wait for the minutes that the maker of the vehicle gives", a.Where(), a.Target, by)
	case electrics == "": // a live connection itself is another rule's word
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

// about gives title and place of a fastener or a thing of an assembly, and what a connection needs dead.
func about(p *lint.Pass, t specdata.Target) (words, electrics string) {
	typ, id := t.Split()
	if typ == "fastener" {
		if f := library.Fastener(p.Library, id); f != nil {
			words = fmt.Sprint(f.Title, "; ", f.Place)
		}
		return words, ""
	}
	for _, name := range p.Procedure().Assemblies {
		a := library.Assembly(p.Library, name)
		if a == nil {
			continue
		}
		for i := range a.Parts {
			if typ == "part" && a.Parts[i].ID == id {
				return a.Parts[i].Title + "; " + a.Place, ""
			}
		}
		for i := range a.Joints {
			if typ == "joint" && a.Joints[i].ID == id {
				return a.Joints[i].Title + "; " + a.Place, ""
			}
		}
		for i := range a.Clips {
			if typ == "clip" && a.Clips[i].ID == id {
				return a.Clips[i].Title + "; " + a.Place, ""
			}
		}
		for i := range a.Connections {
			if typ == "connection" && a.Connections[i].ID == id {
				return a.Connections[i].Title + "; " + a.Place, a.Connections[i].Electrics
			}
		}
	}
	return "", ""
}
