// Package seatcontradictsrecord finds seats that are not what the record says elsewhere.
package seatcontradictsrecord

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:     "seat-contradicts-record",
	Title:    "the seat and the rest of the record contradict each other",
	Doc:      doc,
	Severity: lint.Error,
	Cites:    []lint.Citation{lint.CommonPractice},
	Protects: lint.Joint,
	Edition:  "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool {
		return f.Drive != nil && (f.Seat != nil || f.Joint == specdata.JointWheel)
	}),
	Record: check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	said := said(f)
	if f.Seat == nil {
		if !f.Drive.Flange {
			at, what := "/joint", "a wheel"
			if said != "" {
				at, what = "/fitting", "a wheel with a "+said+" seat"
			}
			p.NotChecked(at, what+" has no seat in its record, so the clamp load is only known to about a half; add seat with form, angle or radius, and the mean diameter")
		}
		return
	}
	form := f.Seat.Form
	switch {
	case said != "" && said != form && !(said == "cone" && form == "ball"):
		p.Reportf("/seat/form", "seat is %s, and fitting says %s; a part on the wrong seat works loose: look at the part and correct the one that is wrong", form, said)
	case f.Drive.Flange && form == "flat":
		p.Reportf("/seat/form", "seat is flat, and drive.flange says that a flange is formed on the part that turns; write form: flange, or take drive.flange away")
	case form == "flange" && !f.Drive.Flange:
		p.Reportf("/seat/form", "seat is flange, and drive.flange does not say so; add drive.flange, which the socket and the bearing face follow from")
	}
}

// said is the form that the fitting names, "" where it names none.
func said(f *specdata.Fastener) string {
	if f.Fitting == nil {
		return ""
	}
	text := f.Fitting.Direction + " " + f.Fitting.Washers
	switch {
	case specdata.HasWord(text, "ball", "spherical"):
		return "ball"
	case specdata.HasWord(text, "cone", "conical", "taper", "tapered"):
		return "cone"
	}
	return ""
}
