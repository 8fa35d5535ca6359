// Package changemovesverdict finds changes after which the verdict on a joint has another word.
package changemovesverdict

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
	Name:      "change-moves-verdict",
	Title:     "after the change the verdict on the joint has another word",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "VDI 2230", Edition: "2003", Note: "tightening tables at 90 % of yield"}, lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Tightening == nil || is.Tightening == nil || was.Thread == nil || is.Thread == nil {
		return
	}
	in, _ := joint.FromFastener(was)
	before, after := joint.Judge(in), p.Verdict()
	if before.Class == after.Class {
		return
	}
	pr := lint.Problem{
		At:       "/tightening",
		Severity: lint.Warning,
		Message:  fmt.Sprintf("verdict on the joint moves from %s to %s; before: %s; now: %s", before.Class, after.Class, said(&before), said(after)),
	}
	if after.Class == joint.Good {
		pr.Severity = lint.Advice
	} else {
		pr.Message += "; look at the source again before you approve"
	}
	if i := lint.HighestStage(is.Tightening); i >= 0 {
		pr.At = lint.StageAt(i, "torque")
	}
	p.Report(pr)
}

// said is the verdict in one sentence.
func said(v *joint.Verdict) string {
	if v.Class == joint.NotJudged {
		return "it cannot be judged"
	}
	return v.Summary()
}
