// Package engagementlongerthanthread finds lengths of a thread that do not add up.
package engagementlongerthanthread

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "engagement-longer-than-thread",
	Title:    "lengths of the thread do not add up",
	Doc:      doc,
	Severity: lint.Error,
	Cites:    []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Clause: "section 5.1", Edition: "2003", Note: "lengths"}, lint.CommonPractice},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Thread != nil && (!f.Thread.Engagement.IsZero() || !f.Thread.Grip.IsZero())
	}),
	Record: check,
}

// slack in m allows for washers, points and rounding.
const slack = 0.001

func check(p *lint.Pass) {
	t := p.Fastener().Thread
	if e, l := t.Engagement, t.Length; !e.IsZero() && !l.IsZero() && e.SI() > l.SI()+slack {
		p.Reportf("/thread/engagement", "engagement %s is longer than the bolt, %s; check digits and unit of both", specdata.Display(e), specdata.Display(l))
		return
	}
	if g, l := t.Grip, t.Length; !g.IsZero() && !l.IsZero() {
		switch {
		case g.SI() >= l.SI()+slack:
			p.Reportf("/thread/grip", "grip %s is longer than the bolt, %s, so nothing is left to screw in; check digits and unit of both", specdata.Display(g), specdata.Display(l))
			return
		case t.Into != "nut" && !t.Engagement.IsZero() && g.SI()+t.Engagement.SI() > l.SI()+slack+0.05*l.SI():
			p.Report(lint.Problem{At: "/thread/engagement", Severity: lint.Warning, Message: "grip " + specdata.Display(g) + " and engagement " + specdata.Display(t.Engagement) + " are together longer than the bolt, " + specdata.Display(l) + "; one of the three is wrong"})
			return
		}
	}
	if t.Engagement.IsZero() {
		return
	}
	d, err := joint.ParseThread(t.Designation)
	if err != nil {
		p.NotChecked("/thread/designation", err.Error())
		return
	}
	if e := t.Engagement.SI(); e > 4*d.Major || e < d.Pitch {
		p.Report(lint.Problem{At: "/thread/engagement", Severity: lint.Warning, Message: "engagement " + specdata.Display(t.Engagement) + " is not one of " + strings.TrimSpace(d.String()) + ", which has a few turns to four diameters; check digits and unit"})
	}
}
