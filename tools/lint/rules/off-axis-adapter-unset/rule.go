// Package offaxisadapterunset finds tightenings through an adapter that lengthens the wrench.
package offaxisadapterunset

import (
	_ "embed"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "off-axis-adapter-unset",
	Title:     "an adapter lengthens the torque wrench and the setting is not corrected",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-254"}, {Kind: lint.Manual, Document: "NAVEDTRA 14003"}, {Kind: lint.Guidance, Document: "FAA AC 43.13-1B"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

var (
	adapter = lint.MustPhrase(`(?i)\b(crow'?s?[- ]?f(?:oo|ee)t|(?:torque )?extension adapt[eo]rs?|(?:torque|offset) adapt[eo]rs?)\b`)
	// insert is at its place in its own wrench; in line with another it lengthens it.
	insert = lint.MustPhrase(`(?i)\bopen[- ]ended? insert\b`)
	inLine = lint.MustPhrase(`(?i)\bin[- ]line\b`)
	// settled is what makes the setting right: the adapter across, or a corrected figure.
	settled = lint.MustPhrase(`(?i)\bright[- ]angles?\b|\b90[- ]?(?:deg|°)|\bsquare to\b|\bcorrect(?:ed|ion)\b|\breduced\b|\blower setting\b|\brecalculated\b|\ballow(?:ing)? for\b|\b(?:no|not|never|without)\b`)
)

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if w.Fastener == nil || !w.Uses(specdata.Tighten, specdata.StageVerb) {
			continue
		}
		if w.Through != "" {
			through(p, w)
			continue
		}
		said := []string{w.Step.Text, w.Note}
		// Where something is held, what the operation is done with may be what holds it.
		if t := w.Fastener.Tightening; t == nil || t.Hold == nil {
			said = append(said, with(p.Procedure(), w.With))
		}
		all := strings.Join(said, "\n")
		name := adapter.FindString(all)
		if name == "" && inLine.MatchString(all) {
			name = insert.FindString(all)
		}
		for i := range w.Step.Cautions {
			all += "\n" + w.Step.Cautions[i].Text
		}
		if name == "" || settled.MatchString(all) {
			continue
		}
		p.Reportf(w.At, "%s is tightened through %s with the setting of the bare wrench; it gets more than the click says: set it at right angles to the wrench, or give the corrected setting, T × L / (L + E × cos a)",
			w.Fastener.Title, strings.ToLower(name))
	}
}

// through judges an adapter or multiplier that the act names: its measures say what the
// wrench is set to, and the sheet prints it.
func through(p *lint.Pass, w lint.Written) {
	t := p.Procedure().ToolOf(w.Through)
	if t == nil || w.Fastener.Tightening == nil {
		return // tool-not-in-set-up says so
	}
	if t.Kind != "adapter" && t.Kind != "multiplier" {
		p.Reportf(w.At+"/through", "%s is a %s, and only an adapter or a multiplier lies between wrench and fastener; correct its kind, or write it as tool or with", t.Title, t.Kind)
		return
	}
	if _, err := joint.SettingThrough(p.Procedure().ToolOf(w.Tool), t, 1); err != nil {
		p.Reportf(w.At+"/through", "nobody can tell what to set on the wrench for %s: %v", specdata.InSentence(w.Fastener.Title), err)
	}
}

// with names what an operation is done with, in the words of the set-up block.
func with(r *specdata.Procedure, id string) string {
	if t := r.ToolOf(id); t != nil {
		return t.Title
	}
	return id
}
