// Package valuestoredconverted finds torques stored in another unit than the source prints.
package valuestoredconverted

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
	Name:      "value-stored-converted",
	Title:     "value is stored converted, not as the source prints it",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "NIST SP 811", Clause: "appendix B.7", Note: "rounding of converted values"}, lint.CommonPractice},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Source != nil && f.Source.Quote != "" }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	if !lacks(specdata.Numbers(f.Source.Quote), f.Tightening) {
		return
	}
	mentions := specdata.Mentions(f.Source.Quote)
	for i, s := range f.Tightening.Values() {
		for _, v := range [...]struct {
			key string
			q   specdata.Quantity
		}{{"torque", s.Torque}, {"up_to", s.UpTo}} {
			printed := original(v.q, mentions)
			if printed.IsZero() {
				continue
			}
			at := lint.StageAt(i, v.key)
			pr := lint.Problem{
				At: at,
				Message: fmt.Sprintf("value %s is a conversion: the quote prints %s; store it as printed, since what is rounded once more drifts, and the other unit is computed wherever it is shown",
					specdata.Display(v.q), specdata.Display(printed)),
				Arithmetic: []string{fmt.Sprintf("%s = %.6g %s", specdata.Display(printed), printed.Float(v.q.Unit().Symbol), v.q.Unit().Display)},
				Fix:        []specdata.Change{{Op: "replace", Path: at, Value: printed.String()}},
			}
			if v.key == "torque" && s.Also.Equal(printed) {
				pr.Fix = append(pr.Fix, specdata.Change{Op: "remove", Path: lint.StageAt(i, "also")})
			}
			p.Report(pr)
		}
	}
}

// lacks reports whether the number of some torque is not among those of the quote,
// which nearly all records show at once to be stored as printed.
func lacks(numbers []string, t *specdata.Tightening) bool {
	for _, s := range t.Values() {
		for _, q := range [...]specdata.Quantity{s.Torque, s.UpTo} {
			if !q.IsZero() && !slices.Contains(numbers, q.Number()) {
				return true
			}
		}
	}
	return false
}

// original returns the mention that a value was converted from: absent where the
// quote has the value in its own unit, or nothing that agrees with it.
func original(v specdata.Quantity, mentions []specdata.Mention) (printed specdata.Quantity) {
	if v.IsZero() || v.Dimension() != specdata.Torque {
		return printed
	}
	for _, m := range mentions {
		if q := m.Quantity; !m.Margin && q.Unit().Symbol == v.Unit().Symbol && !q.Relabels(v) {
			return specdata.Quantity{} // the source prints this unit, whether it prints this value or not
		}
	}
	for _, m := range mentions {
		q := m.Quantity
		if m.Margin || q.Dimension() != specdata.Torque || !q.Agree(v) || q.Relabels(v) {
			continue
		}
		if printed.IsZero() {
			printed = q
		}
	}
	return printed
}
