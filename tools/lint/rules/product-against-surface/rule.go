// Package productagainstsurface finds products put on threads whose value is for another surface.
package productagainstsurface

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
	Name:      "product-against-surface",
	Title:     "a product is put on threads whose value is for another surface",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-362-14&P", Clause: "appendix F", Note: "-10 % with engine oil"}, {Kind: lint.Guidance, Document: "FAA AC 43.13-1B", Clause: "chapter 7"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	all := p.Operations()
	for i, w := range all {
		if !w.Uses(specdata.Apply) || w.With == "" {
			continue
		}
		f := madeNext(all[i+1:], w)
		if f == nil || f.Surface == nil || f.Surface.On == "seat" {
			continue
		}
		product := w.With
		for _, c := range p.Procedure().Consumables {
			if c.ID == w.With {
				product = c.Title
			}
		}
		makes, clash := conditionOf(product), false
		switch is := f.Surface.Condition; is {
		case "dry":
			clash = makes != ""
		case "oiled", "greased", "compound", "threadlock":
			clash = makes != "" && makes != is && !(makes == "greased" && is == "compound")
		}
		if clash {
			p.Report(lint.Problem{
				At: w.At,
				Message: fmt.Sprintf("%s is put on the threads of %s, whose value %s is for a surface that is %s; at one torque less friction is more clamp: leave it off, or correct surface.condition if the source asks for it",
					product, f.ID, f.Tightening, f.Surface.Condition),
			})
		}
	}
}

// madeNext returns the fastener that is made up next after a product was applied to
// it or to threads: nil where the next act undoes one, which is a soaking.
func madeNext(rest []lint.Written, applied lint.Written) *specdata.Fastener {
	typ, id := applied.Target.Split()
	if typ != "fastener" && !specdata.HasWord(id, "thread", "stud", "bolt", "nut", "screw") {
		return nil
	}
	for _, w := range rest {
		if w.Fastener == nil || typ == "fastener" && w.Target != applied.Target {
			continue
		}
		if w.Uses(specdata.Start, specdata.Snug, specdata.Tighten, specdata.StageVerb, specdata.Turn) {
			return w.Fastener
		}
		return nil
	}
	return nil
}

// conditionOf returns the condition that a product makes of a surface, "" where its name does not tell.
func conditionOf(product string) string {
	switch {
	case specdata.HasWord(product, "penetrant", "penetrating", "cleaner", "solvent", "releasing"):
		return ""
	case specdata.HasWord(product, "threadlock", "threadlocker", "locking"):
		return "threadlock"
	case specdata.HasWord(product, "grease", "paste", "antiseize", "seize"):
		return "greased"
	case specdata.HasWord(product, "oil"):
		return "oiled"
	}
	return ""
}
