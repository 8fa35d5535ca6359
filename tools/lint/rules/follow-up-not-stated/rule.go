// Package followupnotstated reports: a joint of this kind owes a check and the record states none.
package followupnotstated

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "follow-up-not-stated",
	Title:     "a joint of this kind owes a check and the record states none",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

// owed holds the follow-ups of which a joint owes one, the likeliest first.
var owed = map[specdata.JointKind][]string{
	specdata.JointWheel:   {"recheck-torque"},
	specdata.JointUnion:   {"leak"},
	specdata.JointBanjo:   {"leak"},
	specdata.JointPlug:    {"leak"},
	specdata.JointBearing: {"turns-freely", "end-float"},
}

func check(p *lint.Pass) {
	f := p.Fastener()
	want := owed[f.Joint]
	if want == nil || specdata.HasWord(f.Title, "sensor", "spark", "glow", "switch") {
		return
	}
	if slices.ContainsFunc(f.FollowUps, func(u specdata.FollowUp) bool { return slices.Contains(want, u.Check) }) {
		return
	}
	at := "/follow_ups"
	if f.FollowUps == nil {
		at = "/joint"
	}
	p.Reportf(at, "a %s joint owes the check %s and the record states none; add follow_ups: [{check: %s}]", f.Joint, want[0], want[0])
}
