// Package dustblown reports: brake or clutch dust is blown or brushed dry.
package dustblown

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
	Name:      "dust-blown",
	Title:     "brake or clutch dust is blown or brushed dry",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Regulation, Document: "29 CFR part 1910", Clause: "§1910.1001"}},
	Protects:  lint.People,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	dusty    = lint.MustPhrase(`(?i)\b(brakes?|clutch|drums?|calipers?|discs?|shoes?|pads?|backing plate|dust)\b`)
	blown    = lint.MustPhrase(`(?i)\b(blow|blowing|blown)\b|\bair[ -](?:line|gun|jet|hose|blast)\b|\bcompressed air\b|\bdry[ -]brush(?:ing)?\b|\bbrush(?:ed|ing)?\b[^.]{0,40}\bdry\b`)
	cleaning = lint.MustPhrase(`(?i)\b(clean|dust|blow|blowing|brush|brushing)`)
	// A sentence with one of these forbids it, or is about drying what was washed, a bore or a fuse.
	other    = lint.MustPhrase(`(?i)\b(never|not|no|nor|without|don't|cannot|instead of|rather than|avoid|wash|washed|wet|rinse|rinsed|vacuum|pipes?|passages?|ports?|bores?|threads?|holes?|fuses?|lines? through|disconnect|connect)\b`)
	sentence = regexp.MustCompile(`[.!?;](?:\s|$)`)
)

func check(p *lint.Pass) {
	r := p.Procedure()
	for at, s := range p.Steps() {
		on := s.Text
		for j := range s.Operations {
			op := &s.Operations[j]
			on += " " + thing(p, op)
		}
		if by := found(s.Text); by != "" && dusty.MatchString(on) {
			p.Reportf(at+"/text", "step %q has brake or clutch dust cleaned by %q; wash it away wet, spray it, or take it up with a filtered vacuum", s.ID, by)
			continue
		}
		for j := range s.Operations {
			op := &s.Operations[j]
			if op.Do != specdata.Clean || !dusty.MatchString(thing(p, op)+" "+s.Text) {
				continue
			}
			with := op.With
			if t := r.ToolOf(op.Tool); t != nil {
				with += "; " + t.Title
			}
			if t := r.ToolOf(op.With); t != nil {
				with += "; " + t.Title
			}
			if by := blown.FindString(with + "; " + op.Note); by != "" && !other.MatchString(op.Note+" "+s.Text) {
				p.Reportf(specdata.At(at+"/operations", j, ""), "%s is cleaned with %q, which raises brake or clutch dust; wash it away wet, spray it, or take it up with a filtered vacuum", op.Target, by)
			}
		}
	}
}

// thing names what an operation works on: the words of the target and the title of
// the part, with "dust" for a part that makes it.
func thing(p *lint.Pass, op *specdata.Operation) string {
	_, id := op.Target.Split()
	if part := p.Thing(op.Target).Part; part != nil {
		if part.Friction {
			return id + " " + part.Title + " dust"
		}
		return id + " " + part.Title
	}
	return id
}

// found returns the words by which a sentence has dust raised.
func found(text string) string {
	if !blown.MatchString(text) {
		return "" // nearly always; telling sentences apart costs more
	}
	for _, s := range sentence.Split(text, -1) {
		if by := blown.FindString(s); by != "" && cleaning.MatchString(s) && !other.MatchString(s) {
			return by
		}
	}
	return ""
}
