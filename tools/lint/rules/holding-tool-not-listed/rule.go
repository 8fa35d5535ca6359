// Package holdingtoolnotlisted reports: what an act is done with is not in the set-up.
package holdingtoolnotlisted

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "holding-tool-not-listed",
	Title:     "what an act is done with is not in the set-up",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-40051-2"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	seen := map[string]bool{}
	for _, w := range p.Operations() {
		if w.Uses(specdata.Apply, specdata.Fill, specdata.Clean) {
			continue
		}
		if w.With != "" && specdata.ValidID(w.With) && !specdata.HasWord(w.With, "hand", "hands", "helper", "foot") && !listed(r, w.With) {
			p.Reportf(w.At+"/with", "%q is neither a tool nor a consumable of the set-up%s; list it, or correct the id", w.With, specdata.DidYouMean(w.With, r.ToolIDs()))
		}
		if !w.Turns() || w.Fastener.Tightening.Hold == nil || seen[w.Fastener.ID] || len(r.Tools) == 0 {
			continue
		}
		seen[w.Fastener.ID] = true
		sizes := lint.Measures(w.Fastener.Tightening.Hold.With)
		if len(sizes) > 0 && !slices.ContainsFunc(r.Tools, func(t specdata.Tool) bool { return lint.HasMeasure(t.Size, sizes) }) {
			p.Reportf(w.At, "%s is held with %s and the set-up lists nothing of that size; list it", w.Target, w.Fastener.Tightening.Hold.With)
		}
	}
}

func listed(r *specdata.Procedure, id string) bool {
	return r.HasTool(id) || slices.ContainsFunc(r.Consumables, func(c specdata.Consumable) bool { return c.ID == id }) ||
		slices.ContainsFunc(r.Tools, func(t specdata.Tool) bool { return specdata.SameWords(t.Title, id) || t.Kind == id || t.Kind+"s" == id })
}
