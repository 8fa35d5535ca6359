// Package slottednutwithoutalignment finds slotted nuts that do not say how to reach the hole.
package slottednutwithoutalignment

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "slotted-nut-without-alignment",
	Title:     "nut with a pin does not say how to reach the hole",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-660-24-2"}, {Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}, {Kind: lint.Manual, Document: "US Army TM 10-3930-664-24"}, {Kind: lint.Manual, Document: "US Army TM 9-2320-364-20-5"}, {Kind: lint.Guidance, Document: "FAA AC 43.13-1B"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Lock != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	l := p.Fastener().Lock
	switch {
	case l.By != "pin":
		if l.Align != "" || !l.Max.IsZero() {
			p.Report(lint.Problem{At: "/lock/by", Severity: lint.Advice, Message: "lock by " + l.By + " has no hole to meet, yet align or max is given; correct lock.by, or remove them"})
		}
	case l.Align == "":
		p.Reportf("/lock/by", "lock by pin does not say what to do when slot and hole do not meet; sources disagree, so add lock.align: advance, back-off, replace-washer or next-slot-within, and lock.max")
	case l.Max.IsZero() && l.Align != "replace-washer":
		pr := lint.Problem{At: "/lock/align", Severity: lint.Advice, Message: "align " + l.Align + " has no limit; add lock.max, an angle or a torque that is not passed"}
		if l.Align == "next-slot-within" {
			pr.Severity = lint.Warning
		}
		p.Report(pr)
	}
}
