// Package heldsidehasnosize finds through bolts with a size for one side only.
package heldsidehasnosize

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "held-side-has-no-size",
	Title:     "bolt and nut have two sizes and one is given",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-365-34-2", Note: "turn the nut side"}, lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Drive != nil && f.Tightening != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	held, size, names := "nut", f.Drive.Nut, []string{"nut"}
	if f.Drive.Turn == "nut" {
		held, size, names = "head", f.Drive.Head, []string{"head", "bolt"}
	}
	if size != "" {
		return
	}
	if h := f.Tightening.Hold; h != nil {
		if specdata.HasWord(h.Turns, names...) && specdata.HasWord(h.With, "spanner", "socket", "wrench", "ring") && !strings.ContainsAny(h.With, "0123456789") {
			p.Reportf("/tightening/hold/with", "%s is held with %q, and no size says which; add drive.%s with form and size, like \"hex 15 mm\"", h.Turns, h.With, held)
		}
		return
	}
	if held == "nut" && f.Thread != nil && f.Thread.Into == "nut" && !fixed(f) {
		p.Reportf("/drive", "bolt goes into a nut, and only the head has a size (%s); add drive.nut and tightening.hold, or say in thread.captive that the nut is welded, caged, pressed or riveted and holds itself", f.Drive.Head)
	}
}

// fixed reports whether the record says that the nut cannot turn by itself.
func fixed(f *specdata.Fastener) bool {
	if f.Thread.Captive != "" {
		return true
	}
	words := []string{"welded", "weld", "caged", "cage", "captive", "clinch", "clinched", "rivet", "riveted", "pressed", "plate", "clip", "fixed"}
	return specdata.HasWord(f.Title, words...) || specdata.HasWord(f.Note, words...) || specdata.HasWord(f.Place, words...) ||
		f.Fitting != nil && (specdata.HasWord(f.Fitting.Direction, words...) || specdata.HasWord(f.Fitting.Washers, words...) || specdata.HasWord(f.Fitting.Spacer, words...))
}
