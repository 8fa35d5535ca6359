// Package fittingdirectionnotsaid finds steps that start a fastener and do not say which way round it goes.
package fittingdirectionnotsaid

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
	Name:      "fitting-direction-not-said",
	Title:     "a fastener that fits one way round goes in and the step is silent",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	word = regexp.MustCompile(`[A-Za-z]+`)
	// ways are words that say a direction in any case, whatever the record calls it.
	ways = []string{"front", "forward", "rear", "back", "rearward", "inward", "inside", "inboard", "inner",
		"outward", "outside", "outboard", "outer", "up", "upward", "down", "downward", "above", "below", "towards", "facing", "marked", "direction"}
	// empty words of a direction say nothing when they stand in a sentence alone.
	empty = []string{"to", "the", "of", "a", "an", "and", "in", "on", "at", "with", "is", "from", "bolt", "nut", "screw", "wheel"}
)

func check(p *lint.Pass) {
	type started struct{ step, fastener string }
	told := map[started]bool{}
	for _, w := range p.Operations() {
		f := w.Fastener
		if f == nil || f.Fitting == nil || f.Fitting.Direction == "" || !w.Uses(specdata.Start) {
			continue
		}
		key := started{w.StepAt, f.ID}
		if told[key] || says(w, f.Fitting.Direction) {
			continue
		}
		told[key] = true
		p.Reportf(w.StepAt+"/text", "%s goes in one way round (%s) and the step that starts it does not say so; the wrong way round it can foul: write %q into the sentence", f.ID, f.Fitting.Direction, f.Fitting.Direction)
	}
}

// says reports whether what the reader sees has a word of the direction, or of any.
func says(w lint.Written, direction string) bool {
	telling := ways
	for _, d := range word.FindAllString(strings.ToLower(direction), -1) {
		if !specdata.HasWord(d, empty...) {
			telling = append(telling[:len(telling):len(telling)], d)
		}
	}
	if w.Says(telling...) {
		return true
	}
	for i := range w.Step.Cautions {
		if specdata.HasWord(w.Step.Cautions[i].Text, telling...) {
			return true
		}
	}
	return false
}
