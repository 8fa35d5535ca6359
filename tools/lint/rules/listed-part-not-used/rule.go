// Package listedpartnotused reports: the order list has a piece that no step puts on.
package listedpartnotused

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "listed-part-not-used",
	Title:     "the order list has a piece that no step puts on",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-40051-2"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	pieces, _ := p.NewPieces()
	for i, line := range p.Procedure().Parts {
		target := specdata.Target("part:" + line.Part)
		if line.Fastener != "" {
			target = specdata.Target("fastener:" + line.Fastener)
		}
		if n := pieces[target].Count; n > 0 && line.Quantity > n && !several(line.Title) {
			p.Reportf(specdata.At("/parts", i, "quantity"), "%d of %s are ordered and the job puts on %d; write %d, or look for the place where the others go", line.Quantity, target, n, n)
			continue
		}
		used := slices.ContainsFunc(p.Operations(), func(w lint.Written) bool { return w.New && w.Target == target })
		if used || optional(line.Title) || line.Fastener != "" && library.Fastener(p.Library, line.Fastener) == nil {
			continue
		}
		p.Reportf(specdata.At("/parts", i, ""), "%s is listed and no step puts a new one on; add new: true where it goes on, or take the line out", target)
	}
}

// several reports whether a title says that pieces come together or one to spare.
func several(title string) bool {
	return optional(title) || specdata.HasWord(title, "set", "kit", "spare", "pair", "as", "pack")
}

// optional reports whether a title says that the piece may not be needed.
func optional(title string) bool {
	return specdata.HasWord(title, "if", "optional", "needed", "required")
}
