// Package onesideofaset finds pads, discs, shoes, dampers and springs renewed on one side of an axle.
package onesideofaset

import (
	_ "embed"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "one-side-of-a-set",
	Title:     "parts that belong in axle sets are renewed on one side only",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// other is a sentence that thinks of the other side.
var other = lint.MustPhrase(`(?i)\b(?:both|other|opposite) (?:rear |front )?(?:sides?|wheels?|ends?)\b|\bin pairs\b|\b(?:axle|complete) sets?\b`)

func check(p *lint.Pass) {
	r := p.Procedure()
	if r.Sides != "one" && r.Sides != "both" {
		return
	}
	told := map[specdata.Target]bool{}
	for _, o := range p.DryRun().Outcomes {
		type fitted struct{ left, right bool }
		sides := map[specdata.Target]fitted{}
		for _, a := range o.Acts {
			if a.New && a.Do == specdata.Fit {
				f := sides[a.Target]
				f.left = f.left || a.Side != specdata.SideRight
				// Without a side it is the one the reader picked, or where he picks none, both.
				f.right = f.right || a.Side == specdata.SideRight || a.Side != specdata.SideLeft && r.Sides != "one"
				sides[a.Target] = f
			}
		}
		for _, a := range o.Acts {
			f := sides[a.Target]
			if !a.New || a.Do != specdata.Fit || f.left == f.right || told[a.Target] {
				continue
			}
			title := ofSet(p, a.Target)
			if title == "" || said(r, title) {
				continue
			}
			told[a.Target] = true
			severity := lint.Error
			if !specdata.HasWord(thing(title), "pad", "disc", "shoe") {
				severity = lint.Warning // one bent damper may be renewed alone
			}
			p.Report(lint.Problem{At: a.Pointer(), Severity: severity, Message: strings.ToLower(title) + ": new on one side only; the vehicle pulls and brakes unevenly: renew both sides of the axle, sides both"})
		}
	}
}

// said reports whether a sentence about the part sends the reader to the other side.
// One about the wheels, or about what is not renewed, does not.
func said(r *specdata.Procedure, title string) bool {
	return slices.ContainsFunc(r.Steps, func(s specdata.Step) bool {
		return other.MatchString(s.Text) && specdata.HasWord(s.Text, thing(title)) && specdata.HasWord(s.Text, "renew", "renewed", "replace", "replaced", "new", "fit", "pairs", "set", "sets")
	})
}

// thing is the last word of a title, the thing itself.
func thing(title string) string {
	words := strings.Fields(strings.ToLower(title))
	if len(words) == 0 {
		return ""
	}
	return strings.TrimSuffix(words[len(words)-1], "s")
}

// ofSet returns the title of a part that is renewed in axle sets, "" for others. The
// part must be of an assembly that stands on either side of an axle.
func ofSet(p *lint.Pass, t specdata.Target) string {
	typ, id := t.Split()
	if typ != "part" {
		return ""
	}
	for _, name := range p.Procedure().Assemblies {
		a := library.Assembly(p.Library, name)
		if a == nil || !a.Handed || a.End == "" {
			continue
		}
		for i := range a.Parts {
			if a.Parts[i].ID == id && inSet(a.Parts[i].Title) {
				return a.Parts[i].Title
			}
		}
	}
	return ""
}

// inSet judges the last word, the thing itself: a damper bush is no damper. Small
// springs that only hold something are no road springs.
func inSet(title string) bool {
	words := strings.Fields(strings.ToLower(title))
	return len(words) > 0 && specdata.HasWord(words[len(words)-1], "pad", "disc", "shoe", "damper", "spring", "absorber") &&
		!specdata.HasWord(title, "return", "retaining", "clip", "anti", "rattle", "hold", "pull", "clutch", "steering", "valve", "steady")
}
