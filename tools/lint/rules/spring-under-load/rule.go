package springunderload

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
	Name:      "spring-under-load",
	Title:     "a coil spring comes off and nothing takes its load",
	Doc:       doc,
	Severity:  lint.Error,
	Source:    "common practice",
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var spring = lint.MustPhrase(`(?i)\bcoil spring|\bstrut (?:rod|piston) nut|\bpiston rod nut`)

func check(p *lint.Pass) {
	for _, o := range p.DryRun().Outcomes {
		held := 0
		for _, a := range o.Acts {
			switch a.Do {
			case specdata.SetAid, specdata.LoadSuspension:
				held++
			case specdata.Remove, specdata.Slacken:
				if held == 0 && spring.MatchString(title(p, a.Target)) && !specdata.HasWord(a.Note+"; "+a.With+"; "+a.Step.Text, "compressor", "compressed", "relaxed", "unloaded") {
					p.Reportf(a.Pointer(), "%s takes off what holds a coil spring and nothing has taken its load; add {do: set-aid, target: aid:spring-compressor} before it, or let the spring out on a jack", a.Where())
					return
				}
			}
		}
	}
}

func title(p *lint.Pass, t specdata.Target) string {
	if part := p.PartOf(t); part != nil {
		return part.Title
	}
	if typ, id := t.Split(); typ == "fastener" {
		if f := library.Fastener(p.Library, id); f != nil {
			return f.Title
		}
	}
	return ""
}
