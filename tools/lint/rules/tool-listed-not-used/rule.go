// Package toollistednotused reports: the set-up lists a tool that the job does not use.
package toollistednotused

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
	Name:      "tool-listed-not-used",
	Title:     "the set-up lists a tool that the job does not use",
	Doc:       doc,
	Severity:  lint.Advice,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "MIL-STD-40051-2"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for i, t := range p.Procedure().Tools {
		if !used(p, t) {
			p.Reportf(specdata.At("/tools", i, ""), "%s is listed and nothing is done with it; name it where it is used, or take it out", t.Title)
		}
	}
}

// acts holds the verb that needs a tool of a kind though nobody names it.
var acts = map[string][]specdata.Verb{
	"jack":  {specdata.Raise, specdata.LoadSuspension, specdata.Lower},
	"stand": {specdata.Support},
	"chock": {specdata.Secure},
}

func used(p *lint.Pass, t specdata.Tool) bool {
	for _, w := range p.Operations() { // what nearly all tools are found by, before what has to be read
		if w.Tool == t.ID || w.Through == t.ID || w.With == t.ID || w.Uses(acts[t.Kind]...) {
			return true
		}
	}
	words := strings.FieldsFunc(strings.ToLower(t.Title), func(r rune) bool { return r < 'a' || r > 'z' })
	for _, w := range p.Operations() {
		switch {
		case specdata.SameWords(w.With, t.Title):
			return true
		case t.Size != "" && w.Turns() && (lint.Fits(t.Size, lint.Turned(w.Fastener)) || lint.Fits(t.Size, lint.Held(w.Fastener)) || holds(w.Fastener, t)):
			return true
		case t.Size == "" && mentioned(words, w):
			return true
		}
		for _, id := range specdata.Placeholders(w.Step.Text, "tool") {
			if id == t.ID {
				return true
			}
		}
	}
	return false
}

func holds(f *specdata.Fastener, t specdata.Tool) bool {
	return f.Tightening.Hold != nil && lint.HasMeasure(t.Size, lint.Measures(f.Tightening.Hold.With))
}

// mentioned reports whether the step mentions the tool by one of its longer words.
func mentioned(words []string, w lint.Written) bool {
	for _, word := range words {
		if len(word) > 4 && w.Says(word) {
			return true
		}
	}
	return false
}
