// Package lockingcompoundonoil finds locking compound applied to a thread that is oily or not cleaned.
package lockingcompoundonoil

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
	Name:      "locking-compound-on-oil",
	Title:     "locking compound goes on oil or on a thread nobody cleaned",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	compound = lint.MustPhrase(`(?i)\bthread[- ]?lock|\blocking compound\b`)
	cleaned  = lint.MustPhrase(`(?i)\b(?:clean|degrease|wipe|wash)`)
)

func check(p *lint.Pass) {
	oiled := map[specdata.Target]string{}
	clean := map[specdata.Target]bool{}
	threads := false
	for _, w := range p.Operations() {
		product := titled(p.Procedure(), w.With)
		switch {
		case w.New && w.Fastener != nil:
			// A new piece may come clean, or coated; nothing is known of it.
			clean[w.Target] = true
			delete(oiled, w.Target)
		case w.Do == specdata.Clean:
			clean[w.Target] = true
			delete(oiled, w.Target)
			// The place may be the hole that the fastener goes into.
			threads = threads || w.Fastener == nil
		case w.Do == specdata.Apply && compound.MatchString(product):
			if f := w.Fastener; f != nil && (f.Surface == nil || f.Surface.Condition != "threadlock") {
				continue
			}
			if oil := oiled[w.Target]; oil != "" {
				p.Reportf(w.At, "%s goes on %s over %s; it does not cure on oil: clean the thread first", product, w.Target, oil)
			} else if w.Fastener != nil && !clean[w.Target] && !threads && !cleaned.MatchString(w.Step.Text) && !renewed(p, w.Target) {
				p.Reportf(w.At, "%s goes on %s, which no step before cleans; it does not cure on oil: clean bolt and hole first", product, w.Target)
			}
		case w.Do == specdata.Apply && specdata.HasWord(strings.ToLower(product), "oil", "grease", "lubricant", "wax", "antiseize"):
			oiled[w.Target] = product
		}
	}
}

// renewed reports whether the procedure puts a new piece in at a target.
func renewed(p *lint.Pass, t specdata.Target) bool {
	for _, w := range p.Operations() {
		if w.New && w.Target == t {
			return true
		}
	}
	return false
}

// titled names a consumable of the procedure in its own words.
func titled(r *specdata.Procedure, id string) string {
	for i := range r.Consumables {
		if r.Consumables[i].ID == id {
			return r.Consumables[i].Title
		}
	}
	return id
}
