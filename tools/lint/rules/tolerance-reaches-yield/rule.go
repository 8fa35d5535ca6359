// Package tolerancereachesyield finds tolerances and ranges whose top end takes the bolt past yield.
package tolerancereachesyield

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "tolerance-reaches-yield",
	Title:     "upper end of the torque reaches yield",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Edition: "2003"}, {Kind: lint.Standard, Document: "ISO 898-1", Edition: "2013"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.MetalThreads,
	Record:    check,
}

func check(p *lint.Pass) {
	v := p.Verdict()
	over := v.Window.OverYield
	if over.Torque <= 0 || v.Input.Torque <= 0 {
		return
	}
	t := p.Fastener().Tightening
	i := lint.HighestStage(t)
	s := &t.Stages[i]
	if s.Torque.SI() > over.Torque {
		return // torque-over-yield says so
	}
	if !s.UpTo.IsZero() {
		upper(p, v, i, s)
		return
	}
	if top := s.Torque.SI() * (1 + v.Input.Tolerance); top > over.Torque && v.Input.Tolerance <= 0.3 {
		p.Report(lint.Problem{
			At: "/tightening/tolerance", Severity: lint.Warning,
			Message: fmt.Sprintf("tolerance %s lets torque %s grow to %s, where %s (%s) yields at any friction of the band (from %s); narrow the tolerance or lower the torque",
				specdata.Display(t.Tolerance), lint.Torque(s.Torque), lint.NewtonMetres(top), v.Input.Thread, v.Against.Name, lint.NewtonMetres(over.Torque)),
			Arithmetic: lint.Arithmetic(v),
		})
	}
}

// upper judges the printed upper end of a range: past yield at any friction it
// cannot be meant, past it at the lowest it needs a reason.
func upper(p *lint.Pass, v *joint.Verdict, i int, s *specdata.Stage) {
	at, word := v.Window.OverYield, "any"
	pr := lint.Problem{At: lint.StageAt(i, "up_to")}
	if s.UpTo.SI() <= at.Torque {
		at, word, pr.Severity = v.Window.MayYield, "low", lint.Warning
		if at.Torque <= 0 || s.UpTo.SI() <= at.Torque || s.Torque.SI() > at.Torque {
			return
		}
	}
	pr.Message = fmt.Sprintf("upper end %s of the range from %s yields %s (%s) at %s friction (from %s); read the source again and correct the end",
		lint.Torque(s.UpTo), lint.Torque(s.Torque), v.Input.Thread, v.Against.Name, word, lint.NewtonMetres(at.Torque))
	pr.Arithmetic = lint.Arithmetic(v)
	p.Report(pr)
}
