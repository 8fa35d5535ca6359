// Package severalwithoutpattern finds groups of fasteners whose order is not stated.
package severalwithoutpattern

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "several-without-pattern",
	Title:    "several fasteners of a face have no order",
	Doc:      doc,
	Severity: lint.Warning,
	Cites:    []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 5-3805-248-23-1", Note: "patterns"}, {Kind: lint.Manual, Document: "US Army TB 9-3950-253-13&P", Note: "patterns"}, lint.CommonPractice},
	Protects: lint.Method,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Count >= 3 && (f.Joint == specdata.JointClamp || f.Joint == specdata.JointWheel)
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	// Any order of three goes round; a wheel still has to be drawn on evenly.
	if f.Tightening.Pattern != nil || stud(f) || f.Joint == specdata.JointClamp && f.Count < 4 {
		return
	}
	severity := lint.Warning
	if f.Joint == specdata.JointClamp && !onOneFace(f) {
		severity = lint.Advice // hinges, brackets, coils: each often stands for itself
	}
	p.Report(lint.Problem{At: "/count", Severity: severity, Message: fmt.Sprintf("order of the %d fasteners is not stated; add tightening.pattern.order (cross, star, spiral, sequence, centre-out, circle), or one where each stands for itself", f.Count)})
}

// stud reports whether the record is about studs, which are run in one by one.
func stud(f *specdata.Fastener) bool {
	return specdata.HasWord(f.Title, "stud") && f.Drive.Turn == "head"
}

// onOneFace reports whether title, place or what is owed afterwards say that the
// fasteners draw one face down: it leaks, warps or runs out if they do so unevenly.
func onOneFace(f *specdata.Fastener) bool {
	leaks := func(u specdata.FollowUp) bool { return u.Check == "leak" || u.Check == "turns-freely" }
	return slices.ContainsFunc(f.FollowUps, leaks) && !specdata.HasWord(f.Title, "injector", "coil", "sensor") ||
		specdata.HasWord(f.Title, "cover", "head", "sump", "pan", "manifold", "housing", "flange", "cap", "case", "plate", "pump",
			"flywheel", "clutch", "gasket", "crown", "disc", "drum", "hub", "carrier", "u-bolt", "turbocharger", "turbo", "exchanger", "cooler")
}
