// Package changelookslikeunitslip holds the rule change-looks-like-unit-slip: change moves a torque by a factor that a slip of unit makes.
package changelookslikeunitslip

import (
	_ "embed"
	"fmt"
	"math"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-looks-like-unit-slip",
	Title:     "change moves a torque by a factor that a slip of unit makes",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "NIST SP 811", Clause: "appendix B", Note: "factors"}, lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

// near is how far a ratio may lie off a factor, as a fraction: the values were rounded.
const near = 0.015

// slips are the factors people put in by mistake, larger by smaller.
var slips = []struct {
	factor float64
	cause  string
}{
	{12, "inch-pounds and foot-pounds were confused"},
	{1.355818, "newton-metres and foot-pounds were confused"},
	{1.838242, "it was converted twice, or the wrong way round"},
	{9.80665, "kilogram-force metres and newton-metres were confused"},
	{10, "a decimal point was lost or put in"},
	{8.850746, "newton-metres and inch-pounds were confused"},
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	if !ok {
		return // a new record
	}
	is := p.Fastener()
	told := ""
	for _, m := range lint.Moves(was, is) {
		stage, _, _ := strings.Cut(strings.TrimPrefix(m.At, "/tightening/stages/"), "/")
		if m.New.Dimension() != specdata.Torque || stage == told {
			continue // the pair and the range of a stage move with its torque
		}
		factor, cause := slip(m.Ratio())
		if cause == "" {
			continue
		}
		told = stage
		if p.Mends(was, m) || lint.Respecified(was, is) {
			continue
		}
		pr := lint.Problem{
			At: m.At,
			Message: fmt.Sprintf("value changes from %s to %s, %.3g times: as if %s; read number and unit in the source again, and quote them if the change is meant",
				lint.Torque(m.Old), lint.Torque(m.New), m.Ratio(), cause),
			Arithmetic: []string{fmt.Sprintf("%.6g N·m ÷ %.6g N·m = %.4g, within 1.5 %% of %.4g", m.New.SI(), m.Old.SI(), m.Ratio(), factor)},
		}
		p.Report(pr)
	}
}

// slip returns the factor a ratio is near, or its inverse, and what makes it; the
// nearest where two are near.
func slip(ratio float64) (factor float64, cause string) {
	best := near
	for _, s := range slips {
		for _, f := range []float64{s.factor, 1 / s.factor} {
			if off := math.Abs(ratio/f - 1); off <= best {
				best, factor, cause = off, f, s.cause
			}
		}
	}
	return factor, cause
}
