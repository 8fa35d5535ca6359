// Package licencenotstated holds the rule licence-not-stated: terms of quoting are not known.
package licencenotstated

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "licence-not-stated",
	Title:     "terms of quoting are not known",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindSource),
	Record:    check,
}

// unknown are words that state no terms by themselves. "none" may mean that nothing
// forbids it or that nothing allows it.
var unknown = []string{"unknown", "not", "known", "stated", "unclear", "none", "na", "n", "a", "tbd", "tbc", "tba", "to", "be", "confirmed", "ask", "see", "unsure", "licence", "license", "terms", "the", "no"}

func check(p *lint.Pass) {
	if licence := p.Source().Licence; specdata.OnlyWords(licence, unknown...) {
		p.Reportf("/licence", "licence %q states no terms; say on what terms its numbers may be quoted, like \"public domain\" or \"numbers only, with permission of the issuer\"", licence)
	}
}
