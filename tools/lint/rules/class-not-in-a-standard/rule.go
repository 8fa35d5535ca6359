// Package classnotinastandard finds strength classes that no standard defines.
package classnotinastandard

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
	Name:      "class-not-in-a-standard",
	Title:     "strength class is in no standard",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 898-1", Edition: "2013"}, {Kind: lint.Standard, Document: "ISO 898-2"}, {Kind: lint.Standard, Document: "ISO 3506-1", Edition: "2020"}, {Kind: lint.Standard, Document: "SAE J429"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Strength != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	s := f.Strength
	// Without a readable thread the class is looked up for M10, which every
	// standard has.
	d := 0.010
	if f.Thread != nil {
		if t, err := joint.ParseThread(f.Thread.Designation); err == nil {
			d = t.Major
		}
	}
	if s.Bolt != "" {
		if _, err := joint.BoltGrade(s.Bolt, d); err != nil {
			if carried(s.Bolt) {
				p.Reportf("/strength/bolt", "%v; read the marking again", err)
			} else {
				p.NotChecked("/strength/bolt", err.Error())
			}
		}
	}
	if s.Nut != "" {
		if _, err := joint.ParseNutClass(s.Nut); err != nil {
			if strings.Trim(s.Nut, "0123456789") == "" {
				p.Reportf("/strength/nut", "%v; read the marking again", err)
			} else {
				p.NotChecked("/strength/nut", err.Error())
			}
		}
	}
}

// carried reports whether a class is written in the form of a standard whose
// classes are all known here; set screws (45H) and ferritic or martensitic
// stainless steel (C1-70) are not.
func carried(class string) bool {
	return strings.Contains(class, ".") || strings.HasPrefix(class, "grade") || class[0] == 'A' || class[0] == 'D'
}
