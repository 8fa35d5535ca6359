// Package specialtoolunnamed finds special tools that are called nothing but special tools.
package specialtoolunnamed

import (
	_ "embed"
	"regexp"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "special-tool-unnamed",
	Title:     "a special tool is called for and nothing says what it does",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	special = lint.MustPhrase(`(?i)(?:^|([a-z-]+)[ ]+)special(?:ist)?[- ]tools?\b(.*)`)
	bare    = lint.MustPhrase(`(?i)\b(?:use|using) the tool\s*[.;]?\s*$`)
	// named follows the words where the sentence goes on to say what the tool is or does.
	named = lint.MustPhrase(`(?i)^\s*(?:[,:(–—{-]|(?:for|that|which|to|called|no|number|with)\b|[A-Z]*\d)`)
	code  = regexp.MustCompile(`[A-Za-z]*[-./]*\d[\w./-]*`)
)

func check(p *lint.Pass) {
	r := p.Procedure()
	for i := range r.Tools {
		if nameless(r.Tools[i].Title) {
			p.Reportf(specdata.At("/tools", i, "title"), "tool %q says nothing of what it does; nobody knows what to fetch: name its work and size (ball-joint press, 40 mm jaw)", r.Tools[i].Title)
		}
	}
	for at, s := range p.Steps() {
		if !unnamed(s.Text) || strings.Contains(s.Text, "{tool:") || listed(r, s) {
			continue
		}
		p.Reportf(at+"/text", "the step calls for a special tool and does not say which; nobody knows what to fetch: name its work and size (ball-joint press, 40 mm jaw)")
	}
}

// nameless reports whether a title has no word of what the tool does.
func nameless(title string) bool {
	return specdata.HasWord(title, "special", "specialist") && specdata.HasWord(title, "tool") &&
		specdata.OnlyWords(code.ReplaceAllString(title, ""), "special", "specialist", "tool", "the", "a", "no", "number", "set", "maker")
}

// unnamed reports whether a sentence calls for a tool and does not say which.
func unnamed(text string) bool {
	if bare.MatchString(text) {
		return true
	}
	m := special.FindStringSubmatch(text)
	if m == nil || named.MatchString(m[2]) {
		return false
	}
	// A word just before may be what the tool is ("press special tool").
	return m[1] == "" || specdata.HasWord(m[1], "the", "a", "with", "use", "using", "this", "by", "correct", "proper", "right", "suitable", "appropriate")
}

// listed reports whether an operation of the step names a tool of the set-up block
// that says what it does.
func listed(r *specdata.Procedure, s *specdata.Step) bool {
	for i := range s.Operations {
		for _, id := range []string{s.Operations[i].Tool, s.Operations[i].With} {
			if t := r.ToolOf(id); t != nil && !nameless(t.Title) {
				return true
			}
		}
	}
	return false
}
