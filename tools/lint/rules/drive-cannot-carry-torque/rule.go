// Package drivecannotcarrytorque finds drives too small for their torque.
package drivecannotcarrytorque

import (
	_ "embed"
	"fmt"

	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "drive-cannot-carry-torque",
	Title:     "tool gives way in the drive before the torque is reached",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 1711-1", Note: "wrench test torques"}, {Kind: lint.Standard, Document: "ISO 10664", FromMemory: true}, {Kind: lint.Standard, Document: "ISO 2936", Edition: "2001", FromMemory: true}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	i := lint.HighestStage(f.Tightening)
	if i < 0 {
		return
	}
	side, drive := "/drive/head", f.Drive.Head
	if f.Drive.Turn == "nut" {
		side, drive = "/drive/nut", f.Drive.Nut
	}
	s := &f.Tightening.Stages[i]
	q := s.Torque
	if !s.UpTo.IsZero() {
		q = s.UpTo
	}
	limit, from, ok := joint.DriveLimit(drive)
	if !ok || q.SI() <= limit {
		return
	}
	p.Report(lint.Problem{At: side, Message: fmt.Sprintf("drive %s cannot carry %s: a tool in that drive withstands %s (%s); check the size and the torque", drive, lint.Torque(q), lint.NewtonMetres(limit), from)})
}
