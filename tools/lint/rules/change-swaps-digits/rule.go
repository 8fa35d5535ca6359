// Package changeswapsdigits holds the rule change-swaps-digits: change only swaps the digits of a value.
package changeswapsdigits

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
	Name:      "change-swaps-digits",
	Title:     "change only swaps the digits of a value",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	if !ok {
		return // a new record
	}
	is := p.Fastener()
	for _, m := range lint.Moves(was, is) {
		if m.Old.Unit().Symbol != m.New.Unit().Symbol || !swapped(m.Old.Number(), m.New.Number()) || p.Mends(was, m) {
			continue
		}
		pr := lint.Problem{
			At:         m.At,
			Message:    fmt.Sprintf("value changes from %s to %s, the same digits in another order; read the source again, and quote its number if the change is meant", specdata.Display(m.Old), specdata.Display(m.New)),
			Arithmetic: []string{fmt.Sprintf("%s and %s have the same digits, so they differ by a multiple of 9", m.Old.Number(), m.New.Number())},
		}
		if lint.Backed(was.Source, is.Source, m.New) {
			pr.Message = fmt.Sprintf("value changes from %s to %s, the same digits in another order; the citation bears it out, so this may mend an earlier slip: look at the page once more", specdata.Display(m.Old), specdata.Display(m.New))
		}
		p.Report(pr)
	}
}

// swapped reports whether two numbers as printed are the same digits in another
// order, with the decimal point in the same place.
func swapped(a, b string) bool {
	if a == b || len(a) != len(b) {
		return false
	}
	x, y := []byte(a), []byte(b)
	if slices.Index(x, '.') != slices.Index(y, '.') {
		return false
	}
	slices.Sort(x)
	slices.Sort(y)
	return slices.Equal(x, y)
}
