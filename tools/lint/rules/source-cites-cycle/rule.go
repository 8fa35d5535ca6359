// Package sourcecitescycle holds the rule source-cites-cycle: sources replace each other in a circle.
package sourcecitescycle

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "source-cites-cycle",
	Title:     "sources replace each other in a circle",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Source,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindSource),
	Record:    check,
}

func check(p *lint.Pass) {
	s := p.Source()
	for i, id := range s.Supersedes {
		seen := map[string]bool{}
		if path := back(p, s.ID, id, seen); path != nil {
			p.Reportf(specdata.At("/supersedes", i, ""), "source replaces itself: %s; take the entry out of the older one", strings.Join(append([]string{s.ID}, path...), " replaces "))
		}
	}
}

// back returns the way from a source to the target, nil if there is none.
func back(p *lint.Pass, target, id string, seen map[string]bool) []string {
	if id == target {
		return []string{id}
	}
	if seen[id] {
		return nil
	}
	seen[id] = true
	if s := library.Source(p.Library, id); s != nil {
		for _, next := range s.Supersedes {
			if path := back(p, target, next, seen); path != nil {
				return append([]string{id}, path...)
			}
		}
	}
	return nil
}
