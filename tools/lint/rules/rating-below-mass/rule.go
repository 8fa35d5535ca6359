// Package ratingbelowmass finds a jack, stands or a lift rated for less than they carry.
package ratingbelowmass

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
	Name:      "rating-below-mass",
	Title:     "jack, stands or lift are rated for less than they carry",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "29 CFR 1910.244"}, lint.CommonPractice},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// end is the share of its mass that the heavier end of a vehicle carries at least.
const end = 0.5

func check(p *lint.Pass) {
	r := p.Procedure()
	mass, of := heaviest(p.Library, r)
	if mass.IsZero() {
		return
	}
	seen := map[string]bool{}
	for _, w := range p.Operations() {
		t := r.ToolOf(w.Tool)
		if t == nil {
			t = r.ToolOf(w.With)
		}
		if t == nil || t.Rating.IsZero() || seen[t.ID] || w.Do != specdata.Raise && w.Do != specdata.Support {
			continue
		}
		seen[t.ID] = true
		carries, holds := mass.SI(), t.Rating.SI()
		typ, id := w.Target.Split()
		what, severity := "the vehicle", specdata.Error
		if typ == "end" {
			carries, what, severity = carries*end, "the "+id+" end, which is half of it and more,", specdata.Warning
		}
		if t.Kind == "stand" {
			holds *= float64(max(1, t.Quantity))
		}
		if holds < carries {
			p.Report(lint.Problem{At: w.At, Severity: severity, Message: t.Title + " is rated for " + specdata.Display(t.Rating) + " and " + of + " weighs " + specdata.Display(mass) + " laden; " + what + " weighs more than it carries: name what is rated for it, as many as are needed"})
		}
	}
}

// heaviest returns the greatest permitted mass of the vehicles that a procedure is for.
func heaviest(l library.Library, r *specdata.Procedure) (mass specdata.Quantity, of string) {
	for _, a := range r.AppliesTo {
		if v := library.Vehicle(l, a.Vehicle); v != nil && !v.MassLaden.IsZero() && (mass.IsZero() || v.MassLaden.SI() > mass.SI()) {
			mass, of = v.MassLaden, v.ID
		}
	}
	return mass, of
}
