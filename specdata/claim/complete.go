package claim

import (
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/lexicon"
	"proofload/specdata/library"
)

// Complete returns a procedure of which every step has a sentence: the procedure itself
// where each has one, else a copy in which the steps without get the composed sentence.
// Whatever shows or judges a procedure shows and judges this one.
func Complete(p *specdata.Procedure, l library.Library) *specdata.Procedure {
	if !slices.ContainsFunc(p.Steps, func(s specdata.Step) bool { return s.Text == "" }) {
		return p
	}
	out := *p
	out.Steps = slices.Clone(p.Steps)
	w := New(p, l, lexicon.Default(), "")
	for i := range out.Steps {
		if s := &out.Steps[i]; s.Text == "" {
			s.Text = w.Compose(i)
		}
	}
	return &out
}

// again is the sentence of a step that repeats others and does nothing of its own.
func again(r *specdata.Repeat) string {
	words := func(id string) string { return strings.ReplaceAll(id, "-", " ") }
	if r.From == r.To {
		return "Repeat the step " + words(r.From) + " for the " + string(r.Side) + " side."
	}
	return "Repeat the steps from " + words(r.From) + " to " + words(r.To) + " for the " + string(r.Side) + " side."
}

// ReadsBack reports whether the sentence of a step says what its acts do: it contradicts
// none and leaves none unsaid.
func (w *World) ReadsBack(step int) bool {
	s := &w.Procedure.Steps[step]
	t := w.Read(s.Text)
	scope := Scope{Acts: w.StepActs(step)}
	if s.Repeat != nil {
		scope.Repeats = s.Repeat.Side
	}
	return len(w.Judge(t, scope)) == 0 && len(w.Unsaid(t, scope.Acts)) == 0
}
