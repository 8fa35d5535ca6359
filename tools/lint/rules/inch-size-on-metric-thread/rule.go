// Package inchsizeonmetricthread finds inch hexagons on metric threads and the reverse.
package inchsizeonmetricthread

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "inch-size-on-metric-thread",
	Title:     "hexagon and thread are of two systems",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 272"}, {Kind: lint.Standard, Document: "ASME B18.2"}, lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if f.Safety == "restraint" && strings.HasPrefix(f.Thread.Designation, "7/16-20") {
		return // belt anchors have this thread by regulation and a hexagon in either system
	}
	if t, err := joint.ParseThread(f.Thread.Designation); err == nil && t.Pipe() {
		return // pipe threads are named in inches the world over, and their hexagons follow the part
	}
	metric := strings.HasPrefix(f.Thread.Designation, "M")
	for _, s := range [...]struct{ at, drive string }{{"/drive/head", f.Drive.Head}, {"/drive/nut", f.Drive.Nut}} {
		form, af := joint.SplitDrive(s.drive)
		if form != "hex" && form != "12-point" || af == 0 || strings.HasSuffix(s.drive, " in") != metric || f.Drive.Special {
			continue
		}
		wheel := f.Joint == specdata.JointWheel
		pr := lint.Problem{At: s.at, Message: fmt.Sprintf("drive %s stands on the thread %s: one is in inches, the other metric; measure both and correct one, or mark it special: true", s.drive, f.Thread.Designation)}
		if t, err := joint.ParseThread(f.Thread.Designation); err == nil && joint.FitHex(t, af, wheel).Steps == 0 {
			if wheel {
				continue // wheel nuts are sold in either; a 19 mm wrench fits 3/4 in
			}
			pr.Severity = lint.Advice
		}
		if wheel {
			pr.Severity = lint.Advice
		}
		p.Report(pr)
	}
}
