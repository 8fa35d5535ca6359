// Package changemisreadsadigit finds values that change in one digit which is easily misread.
package changemisreadsadigit

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
	Name:      "change-misreads-a-digit",
	Title:     "a torque changes in one digit that is easily misread",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Change:    check,
}

// alike lists digits that are taken for each other in print and by hand. Common practice, no source.
var alike = []string{"06", "08", "14", "17", "27", "35", "38", "49", "56", "68", "89", "69"}

// small is a move that a respecification makes as often as a misread digit.
const small = 0.15

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || lint.Respecified(was, is) {
		return
	}
	for _, m := range lint.Moves(was, is) {
		if m.New.Dimension() != specdata.Torque || !strings.HasSuffix(m.At, "/torque") || m.Old.Unit().Symbol != m.New.Unit().Symbol || math.Abs(m.Ratio()-1) < small {
			continue
		}
		a, b, ok := misread(m.Old.Number(), m.New.Number())
		if !ok || p.Mends(was, m) {
			continue
		}
		p.Reportf(m.At, "value changes from %s to %s, in one digit, %c for %c, which are taken for each other; look at that digit on the page again", lint.Torque(m.Old), lint.Torque(m.New), b, a)
		return
	}
}

// misread returns the one digit in which two numbers differ, ok where they are alike.
func misread(old, new string) (a, b byte, ok bool) {
	if len(old) != len(new) {
		return 0, 0, false
	}
	n := 0
	for i := range len(old) {
		if old[i] != new[i] {
			a, b = old[i], new[i]
			n++
		}
	}
	if n != 1 {
		return 0, 0, false
	}
	for _, pair := range alike {
		if pair == fmt.Sprintf("%c%c", min(a, b), max(a, b)) {
			return a, b, true
		}
	}
	return 0, 0, false
}
