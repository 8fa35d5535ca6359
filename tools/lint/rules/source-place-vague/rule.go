// Package sourceplacevague holds the rule source-place-vague: place in the source that nobody can find again.
package sourceplacevague

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
	Name:      "source-place-vague",
	Title:     "place in the source that nobody can find again",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure).Where(func(r specdata.Record) bool { return specdata.CitationOf(r) != nil }),
	Record:    check,
}

// vague are words that name no place by themselves.
var vague = []string{
	"a", "all", "and", "at", "book", "chapter", "chart", "data", "document", "everywhere", "figure", "forum", "from", "general", "in",
	"internet", "known", "list", "manual", "memory", "misc", "na", "n", "net", "of", "on", "online", "page", "paper", "pdf", "row", "section", "see",
	"sheet", "site", "somewhere", "source", "spec", "specification", "table", "tba", "tbc", "tbd", "the", "unknown", "value", "various", "video", "web",
	"website", "workshop", "www", "com", "http", "https",
}

func check(p *lint.Pass) {
	at := specdata.CitationOf(p.Entry.Record).At
	if !specdata.OnlyWords(at, vague...) && !strings.Contains(at, "://") {
		return
	}
	p.Reportf("/source/at", "place %q cannot be found again; give the page, sheet, table or row, like \"sheet 12 row 4\"", at)
}
