// Package surfacenotprepared reports: the value assumes oil, grease or compound and no step applies it.
package surfacenotprepared

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
	Name:      "surface-not-prepared",
	Title:     "the value assumes oil, grease or compound and no step applies it",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F"}, {Kind: lint.Guidance, Document: "NASA NSTS 08307"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// kinds holds the words by which a product of a condition is known.
var kinds = map[string][]string{
	"oiled":      {"oil"},
	"greased":    {"grease", "paste", "lubricant"},
	"threadlock": {"threadlock", "threadlocker", "locking"},
	"compound":   {"compound", "sealant", "paste", "sealer"},
}

func check(p *lint.Pass) {
	applied := map[string]bool{}
	for _, w := range p.Operations() {
		if w.Do == specdata.Apply {
			note(p, applied, w)
		}
		f := w.Fastener
		if f == nil || w.Do != specdata.Start || f.Surface == nil || kinds[f.Surface.Condition] == nil || prepared(applied, f) || appliedLater(p, w) {
			continue
		}
		what := f.Surface.Product
		if what == "" {
			what = strings.Join(kinds[f.Surface.Condition], " or ")
		}
		p.Reportf(w.At, "%s is started and its record says %s, but no step applies %s; add {do: apply, target: %s, with: …}", w.Target, f.Surface.Condition, what, w.Target)
	}
}

// note remembers an apply by its target and by the kinds of its product.
func note(p *lint.Pass, applied map[string]bool, w lint.Written) {
	applied[string(w.Target)] = true
	product := w.With
	for i := range p.Procedure().Consumables {
		if c := &p.Procedure().Consumables[i]; c.ID == w.With {
			product += " " + c.Title
		}
	}
	for condition, words := range kinds {
		if specdata.HasWord(product, words...) {
			applied[condition] = true
		}
	}
}

func prepared(applied map[string]bool, f *specdata.Fastener) bool {
	return applied["fastener:"+f.ID] || applied[f.Surface.Condition]
}

// appliedLater reports whether the same step applies it after the start, before it is tightened.
func appliedLater(p *lint.Pass, start lint.Written) bool {
	for _, w := range p.Operations() {
		if w.Step == start.Step && w.Do == specdata.Apply {
			return true
		}
	}
	return false
}
