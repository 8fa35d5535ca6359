// Package measurementnotused reports: a mark, a count or a height is taken and never used.
package measurementnotused

import (
	_ "embed"
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "measurement-not-used",
	Title:     "a mark, a count or a height is taken and never used",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2320-387-24-1"}, lint.CommonPractice},
	Protects:  lint.Finish,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// used are the words by which a later sentence, criterion or note falls back on a datum.
var used = []string{"mark", "marked", "count", "counted", "number", "turn", "line", "aligned", "noted", "written", "recorded", "direction", "way", "before", "same", "original"}

// refits are the verbs that set a marked thing by its mark.
var refits = []specdata.Verb{
	specdata.Fit, specdata.Start, specdata.Join, specdata.PressIn, specdata.Connect, specdata.ClipVerb, specdata.Align,
	specdata.Check, specdata.Inspect, specdata.Measure, specdata.Count, specdata.Snug, specdata.Tighten, specdata.StageVerb, specdata.Turn,
}

func check(p *lint.Pass) {
	ops := p.Operations()
	for i, w := range ops {
		if !w.Low.IsZero() || !w.High.IsZero() {
			continue // judged against a limit: it serves at once
		}
		later := ops[i+1:]
		typ, end := w.Target.Split()
		switch {
		case w.Do == specdata.Mark || w.Do == specdata.Count && w.Accept == "":
			if !slices.ContainsFunc(later, func(l lint.Written) bool {
				return l.Target == w.Target && l.Uses(refits...) || l.Step != w.Step && l.Says(used...)
			}) && !said(p, w, used...) {
				p.Reportf(w.At, "%s of %s is never used: nothing is fitted, joined or checked by it, and no later sentence falls back on it; add the step that uses it, or leave it out", w.Do, w.Target)
			}
		case w.Do == specdata.Measure && typ == "suspension" && taken(w) && !settled(ops[:i], end):
			if !slices.ContainsFunc(later, func(l lint.Written) bool { return usesHeight(l, w.Target) }) && !said(p, w, "height") {
				p.Reportf(w.At, "ride height of %s is measured and never used: the suspension is not loaded to it, and nothing is tightened at it; add {do: load-suspension, target: %s}, or leave it out", w.Target, w.Target)
			}
		}
	}
}

// taken reports whether a measurement is taken for later rather than judged at once.
func taken(w lint.Written) bool {
	return w.Accept == "" || specdata.HasWord(w.Accept, "written", "noted", "recorded")
}

// settled reports whether the end was let down or loaded before: the height is then
// looked at to see how it came out.
func settled(before []lint.Written, end string) bool {
	return slices.ContainsFunc(before, func(b lint.Written) bool {
		_, id := b.Target.Split()
		return id == end && b.Uses(specdata.Lower, specdata.LoadSuspension)
	})
}

func usesHeight(l lint.Written, suspension specdata.Target) bool {
	return l.Target == suspension && l.Uses(specdata.LoadSuspension, specdata.Measure, specdata.Check) || l.Uses(specdata.Align) ||
		l.Turns() && l.Fastener.Tightening != nil && l.Fastener.Tightening.State == specdata.StateRideHeight &&
			l.Uses(specdata.Tighten, specdata.StageVerb, specdata.Turn)
}

// said looks at the sentences after the step of w, also of steps without an operation.
func said(p *lint.Pass, w lint.Written, words ...string) bool {
	after := false
	for _, s := range p.Steps() {
		if after && specdata.HasWord(s.Text, words...) {
			return true
		}
		after = after || s == w.Step
	}
	return false
}
