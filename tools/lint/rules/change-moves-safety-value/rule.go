// Package changemovessafetyvalue holds the rule change-moves-safety-value: value of a safety joint moves by more than a tenth.
package changemovessafetyvalue

import (
	_ "embed"
	"fmt"
	"math"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-moves-safety-value",
	Title:     "value of a safety joint moves by more than a tenth",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

// far is the move, as a fraction, from which on work done to the old value matters.
const far = 0.10

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Safety == "" && is.Safety == "" || was.Tightening == nil || is.Tightening == nil {
		return
	}
	safety := is.Safety
	if safety == "" {
		safety = was.Safety
	}
	_, before := was.Tightening.FinalTorque()
	i, after := is.Tightening.FinalTorque()
	if before == nil || after == nil || before.Torque.Agree(after.Torque) && before.UpTo.Agree(after.UpTo) {
		return
	}
	oldLow, oldHigh := was.Tightening.Bounds(before)
	newLow, newHigh := is.Tightening.Bounds(after)
	move := (newLow+newHigh)/(oldLow+oldHigh) - 1
	if math.Abs(move) <= far*(1+1e-9) {
		return
	}
	p.Report(lint.Problem{
		At: lint.StageAt(i, "torque"),
		Message: fmt.Sprintf("value of a safety joint (%s) moves by %+.0f %%, from %s to %s; %s; tell those who used the old value",
			safety, 100*move, lint.Torque(before.Torque), lint.Torque(after.Torque), reach(oldLow, oldHigh, newLow, newHigh)),
		Arithmetic: []string{fmt.Sprintf("allowed before: %.4g to %.4g N·m; now: %.4g to %.4g N·m (±10 %% where the record prints no tolerance)", oldLow, oldHigh, newLow, newHigh)},
	})
}

// reach says what the move means for vehicles already done.
func reach(oldLow, oldHigh, newLow, newHigh float64) string {
	switch loose, damaged := newLow > oldLow, newHigh < oldHigh; {
	case loose && damaged:
		return "the band narrows, so vehicles already done may be loose or overtightened"
	case loose:
		return "its lower bound rises, so vehicles already done may be loose"
	case damaged:
		return "its upper bound falls, so fasteners of vehicles already done may be damaged"
	}
	return "the band widens, so vehicles already done are within it"
}
