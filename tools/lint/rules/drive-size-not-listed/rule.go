// Package drivesizenotlisted reports: the set-up has nothing that fits a fastener of the job.
package drivesizenotlisted

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "drive-size-not-listed",
	Title:     "the set-up has nothing that fits a fastener of the job",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}, {Kind: lint.Standard, Document: "MIL-STD-40051-2"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	if len(r.Tools) == 0 {
		p.NotChecked("", "the set-up lists no tools at all")
		return
	}
	seen := map[string]bool{}
	for _, w := range p.Operations() {
		if !w.Turns() || seen[w.Fastener.ID] {
			continue
		}
		seen[w.Fastener.ID] = true
		turned, held := lint.Turned(w.Fastener), lint.Held(w.Fastener)
		if sized(turned) && fitting(r, turned) == 0 {
			p.Reportf(w.At, "%s is turned by %s and nothing of the set-up fits that; list the socket under tools, like {id: socket-for-it, kind: socket, title: Socket, size: %s}", w.Target, turned, turned)
			continue
		}
		need := 1
		if lint.Fits(held, turned) {
			need = 2
		}
		if w.Fastener.Tightening.Hold != nil && sized(held) && fitting(r, held) < need {
			p.Reportf(w.At, "%s is held by %s and nothing more of the set-up fits that; list the spanner under tools, like {id: spanner-for-it, kind: spanner, title: Spanner, size: %s}", w.Target, held, held)
		}
	}
}

// sized reports whether a drive wants a tool of its size.
func sized(drive string) bool {
	switch drive {
	case "", "slot", "cross", "knurled":
		return false
	}
	return true
}

func fitting(r *specdata.Procedure, drive string) int {
	n := 0
	for i := range r.Tools {
		if t := &r.Tools[i]; lint.Fits(t.Size, drive) {
			n += max(1, t.Quantity)
		}
	}
	return n
}
