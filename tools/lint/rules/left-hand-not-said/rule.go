// Package lefthandnotsaid finds steps that turn a left-hand thread and do not say so.
package lefthandnotsaid

import (
	_ "embed"
	"regexp"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "left-hand-not-said",
	Title:     "a step turns a left-hand thread and does not say so",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Method,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	// spoken is a word for the thread, not for a side of the vehicle: "the left-hand
	// wheel nut" says nothing about its thread.
	spoken = lint.MustPhrase(`(?i)\b(left[- ]hand(ed)?[- ]thread(s|ed)?|left[- ]handed|reverse[- ]thread(s|ed)?)\b`)
	// A left-hand thread is undone clockwise and made anticlockwise.
	clockwise     = lint.MustPhrase(`(?i)\bclockwise\b`)
	anticlockwise = regexp.MustCompile(`(?i)\b(anti-?|counter-?)clockwise\b`)
)

func check(p *lint.Pass) {
	type turned struct{ step, fastener string }
	told := map[turned]bool{}
	for _, w := range p.Operations() {
		f := w.Fastener
		if f == nil || f.Thread == nil || f.Thread.Hand != "left" || told[turned{w.StepAt, f.ID}] {
			continue
		}
		way, says := "anticlockwise", anticlockwise.MatchString
		switch {
		case w.Uses(specdata.Slacken, specdata.Remove):
			way, says = "clockwise", saysClockwise
		case !w.Uses(specdata.Start, specdata.Snug, specdata.Tighten, specdata.StageVerb, specdata.Turn):
			continue
		}
		if said(w, spoken.MatchString) || said(w, says) {
			continue
		}
		told[turned{w.StepAt, f.ID}] = true
		p.Reportf(w.StepAt+"/text", "%s has a left-hand thread and the step that has it turned (%s) does not say so; it will be turned the wrong way until it breaks: write \"left-hand thread\" and the way, %s, into the sentence",
			f.ID, w.Do, way)
	}
}

// said reports whether what the reader sees before he turns has the words: the
// sentence, its cautions, the note of the operation.
func said(w lint.Written, has func(string) bool) bool {
	if has(w.Step.Text) || has(w.Note) {
		return true
	}
	for i := range w.Step.Cautions {
		if has(w.Step.Cautions[i].Text) {
			return true
		}
	}
	return false
}

func saysClockwise(text string) bool {
	return clockwise.MatchString(anticlockwise.ReplaceAllString(text, ""))
}
