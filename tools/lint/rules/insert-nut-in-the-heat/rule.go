// Package insertnutintheheat finds insert locknuts on exhausts, turbochargers and disc bells.
package insertnutintheheat

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "insert-nut-in-the-heat",
	Title:    "a nut locked by a plastic insert sits where it gets too hot",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Guidance, Document: "FAA AC 43.13-1B"}, {Kind: lint.Standard, Document: "ISO 2320"}},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Lock != nil && f.Lock.By == "insert"
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	for _, where := range []string{f.Title, f.Place} {
		if hot(strings.ToLower(where)) {
			p.Reportf("/lock/by", "%s is locked by an insert and sits at %q, which gets hotter than the 121 °C (250 °F) an insert withstands; use an all-metal locknut, or correct the record", f.Title, where)
			return
		}
	}
}

// hot reports whether a phrase names a thing that gets hotter than an insert withstands.
// Hangers, and what leads cold air to a turbocharger, do not for certain.
func hot(s string) bool {
	if specdata.HasWord(s, "hanger", "hanging", "bracket", "intake", "inlet", "intercooler", "hose", "shield") {
		return false
	}
	return specdata.HasWord(s, "exhaust", "turbo", "turbocharger", "manifold") ||
		specdata.HasWord(s, "disc") && specdata.HasWord(s, "bell")
}
