// Package drythreadlubricated reports: oil or grease goes on a thread whose value is for dry.
package drythreadlubricated

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "dry-thread-lubricated",
	Title:     "oil or grease goes on a thread whose value is for dry",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F"}, {Kind: lint.Guidance, Document: "FAA AC 43.13-1B"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// unlubricated are the conditions that oil or grease takes away. A precoated or zinc
// flake thread has the friction that its maker gave it.
var unlubricated = map[string]bool{"dry": true, "precoated": true, "zinc-flake": true, "zinc-flake-dry": true}

func check(p *lint.Pass) {
	for _, a := range p.Acts() {
		if a.Do != specdata.Apply || a.From == dryrun.Unknown || a.From == dryrun.AtFinal || a.From == dryrun.Slack {
			continue
		}
		_, id := a.Target.Split()
		f := library.Fastener(p.Library, id)
		if f == nil || f.Surface == nil || !unlubricated[f.Surface.Condition] {
			continue
		}
		product := a.With
		for i := range p.Procedure().Consumables {
			if c := &p.Procedure().Consumables[i]; c.ID == a.With {
				product = c.Title
			}
		}
		if specdata.HasWord(product, "oil", "grease", "lubricant", "paste", "wax", "antiseize") {
			p.Reportf(a.Pointer(), "%s goes on %s, whose value is for %s; leave it off, or correct the record", product, a.Target, f.Surface.Condition)
		}
	}
}
