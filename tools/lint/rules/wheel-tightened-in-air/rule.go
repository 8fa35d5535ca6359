// Package wheeltightenedinair reports: wheel fasteners come to their value in the air.
package wheeltightenedinair

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "wheel-tightened-in-air",
	Title:     "wheel fasteners come to their value in the air",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2330-238-14", Clause: "§4-49"}},
	Protects:  lint.Wheels,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, f := range p.Problems() {
		if f.Cause != dryrun.CauseVehicleState || f.Fastener == nil || f.Fastener.Joint != specdata.JointWheel || !f.Fastener.Tightening.Needs(specdata.StateOnGround) {
			continue
		}
		severity := lint.Error
		if checkedLater(p, f) {
			severity = lint.Warning
		}
		p.ReportFound(f, severity)
	}
}

// checkedLater reports whether the fastener is rechecked with its end on the ground.
func checkedLater(p *lint.Pass, f lint.Found) bool {
	for _, a := range p.Acts() {
		if a.Number > f.Act.Number && a.Do == specdata.Check && a.Target == f.Target && (a.Side == f.Act.Side || a.Side == "" || a.Side == specdata.SideEach) && a.Before.Front == dryrun.Ground && a.Before.Rear == dryrun.Ground {
			return true
		}
	}
	return false
}
