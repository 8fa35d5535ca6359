// Package measurewithoutlimitsense finds limits for reuse that make no sense.
package measurewithoutlimitsense

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
	Name:      "measure-without-limit-sense",
	Title:     "limit for reuse makes no sense for what is measured",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return !f.Reuse.Limit.IsZero() }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	r := f.Reuse
	q := r.Limit
	if f.Thread == nil {
		return
	}
	what := strings.ToLower(r.Measure)
	say := func(why string) {
		p.Reportf("/reuse/limit", "limit %s for %q %s; check number, unit and what is measured", specdata.Display(q), r.Measure, why)
	}
	of := func(words ...string) bool {
		for _, w := range words {
			if strings.Contains(what, w) {
				return true
			}
		}
		return false
	}
	switch {
	case of("drag", "prevailing", "torque"):
		if q.Dimension() != specdata.Torque {
			say("is a length")
		}
	case q.Dimension() == specdata.Torque:
		say("is a torque")
	case of("diameter", "neck", "waist"):
		t, err := joint.ParseThread(f.Thread.Designation)
		if err != nil {
			p.NotChecked("/thread/designation", err.Error())
		} else if q.SI() > t.Major || q.SI() < 0.7*t.Major {
			say("is not a diameter at which " + t.Size() + " begins to neck")
		}
	case of("length"):
		l := f.Thread.Length
		switch {
		case l.IsZero():
			p.NotChecked("/thread/length", "the length of a new bolt is not stated")
		case q.SI() <= l.SI():
			say("is not above the length of a new bolt, " + specdata.Display(l) + ", so every bolt is scrap")
		case q.SI() > 1.25*l.SI():
			say("is more than a quarter above the length of a new bolt, " + specdata.Display(l) + ", so none ever is")
		}
	}
}
