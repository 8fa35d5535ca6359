// Package safetynotstated reports: a fastener that can hurt someone states no safety reason.
package safetynotstated

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "safety-not-stated",
	Title:     "a fastener that can hurt someone states no safety reason",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

// reasons holds the words of title and place that point to a reason, the surest first.
var reasons = []struct {
	reason string
	words  []string
}{
	{"brake", []string{"brake", "caliper", "carrier"}},
	{"steering", []string{"steering", "pitman", "drag", "kingpin"}},
	{"suspension", []string{"suspension", "damper", "strut"}},
	{"restraint", []string{"belt", "airbag", "pretensioner", "buckle"}},
	{"seat", []string{"seat"}},
	{"tow", []string{"tow"}},
	{"fuel", []string{"fuel", "injector"}},
	{"wheel", []string{"hub", "stub"}},
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Safety != "" || f.Joint == specdata.JointPlastic || f.Joint == specdata.JointSensor {
		return
	}
	if f.Joint == specdata.JointWheel {
		p.Reportf("", "wheel fastener states no safety reason; add safety: wheel")
		return
	}
	words := f.Title + " " + f.Place
	if specdata.HasWord(words, "engine", "fan", "crown", "cover", "shield", "tray", "undertray", "clip", "bracket", "sensor", "trim", "gearbox", "clutch", "alternator", "dynamo", "pump", "drive") {
		return
	}
	for _, r := range reasons {
		if r.reason == "seat" && sealing(f) {
			continue
		}
		if specdata.HasWord(words, r.words...) {
			p.Reportf("", "%q at %q states no safety reason; add safety: %s, or what else fits", f.Title, f.Place, r.reason)
			return
		}
	}
}

// sealing reports whether a seat is the face that something seals on, and nobody sits on it.
func sealing(f *specdata.Fastener) bool {
	switch f.Joint {
	case specdata.JointPlug, specdata.JointUnion, specdata.JointBanjo, specdata.JointTaper:
		return true
	}
	return specdata.HasWord(f.Title+" "+f.Place, "taper", "tapered", "conical", "cone", "ball", "valve", "spring", "gasket", "flat")
}
