// Package renewedpiecenotthere finds pieces to renew that the fastener does not have.
package renewedpiecenotthere

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "renewed-piece-not-there",
	Title:     "piece to be renewed is not part of the fastener",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return len(f.Reuse.Renew) > 0 }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	for i, piece := range f.Reuse.Renew {
		if lacks := missing(f, piece); lacks != "" {
			p.Reportf(fmt.Sprintf("/reuse/renew/%d", i), "renew names a %s, but %s; correct renew, or add what is missing", piece, lacks)
		}
	}
}

// missing says what of the record would have to be there for a piece to exist.
func missing(f *specdata.Fastener, piece string) string {
	switch piece {
	case "nut":
		if f.Drive.Nut == "" && f.Drive.Turn != "nut" && (f.Thread == nil || f.Thread.Into != "nut") && (f.Strength == nil || f.Strength.Nut == "") {
			return "the fastener goes into a hole and has none"
		}
	case "pin":
		if f.Lock == nil || f.Lock.By != "pin" && f.Lock.By != "wire" {
			return "the lock is by no pin or wire"
		}
	case "washer":
		if (f.Fitting == nil || f.Fitting.Washers == "") && (f.Lock == nil || f.Lock.By != "tab" && f.Lock.By != "washer") && !seals(f.Joint) {
			return "fitting names no washers"
		}
	}
	return ""
}

// seals reports whether the kind of joint comes with a sealing washer.
func seals(k specdata.JointKind) bool {
	return k == specdata.JointPlug || k == specdata.JointBanjo || k == specdata.JointUnion || k == specdata.JointSensor
}
