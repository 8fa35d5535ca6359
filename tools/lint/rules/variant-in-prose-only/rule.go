// Package variantinproseonly finds steps that name a variant in words and carry no tag for it.
package variantinproseonly

import (
	_ "embed"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "variant-in-prose-only",
	Title:     "a step names a variant in words and has no tag for it",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	r := p.Procedure()
	var known *vocabulary // made for the first step that needs it
	for at, s := range p.Steps() {
		if len(s.Where) > 0 {
			continue
		}
		if known == nil {
			known = vocabularyOf(p.Library, r)
		}
		if phrase := known.find(s.Text); phrase != "" {
			p.Reportf(at+"/text", "sentence speaks of a variant (%q), and the step has no where: every vehicle is shown it, and no filter sees it; write the step for each variant and tag it with where, like {engine: [d15]}", phrase)
			continue
		}
		for j := range s.Cautions {
			if phrase := known.find(s.Cautions[j].Text); phrase != "" {
				p.Reportf(specdata.At(at+"/cautions", j, "text"), "caution speaks of a variant (%q), and its step has no where; give the variant a step of its own and tag it", phrase)
			}
		}
	}
}

// vocabularyOf gathers the words for variants that the procedure does not restrict itself to.
func vocabularyOf(l library.Library, r *specdata.Procedure) *vocabulary {
	v := &vocabulary{plain: plain, codes: map[string]bool{}, values: map[string]string{}}
	restricted := len(r.AppliesTo) > 0
	for _, a := range r.AppliesTo {
		restricted = restricted && len(a.Where) > 0
		vehicle := library.Vehicle(l, a.Vehicle)
		if vehicle == nil {
			continue
		}
		for key, values := range vehicle.Options {
			if len(a.Where[key]) == 0 {
				v.add(key, values)
			}
		}
	}
	if restricted {
		v.plain = nil // which of the options a plain word means cannot be told
	}
	return v
}
