package claim_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"proofload/specdata"
	"proofload/specdata/claim"
)

// claimsOf lists what the acts of a step claim, as kind and value: which side, how many,
// which way round, in which order, how far, with what, new or not, in what state. Acts
// and things are held by law itself.
func claimsOf(w *claim.World, step int) []string {
	var out []string
	add := func(kind claim.Kind, format string, args ...any) {
		if s := string(kind) + " " + fmt.Sprintf(format, args...); !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	if r := w.Procedure.Steps[step].Repeat; r != nil {
		add(claim.OfSide, "%s", r.Side)
	}
	for _, a := range w.StepActs(step) {
		op, f := a.Op, a.Thing.Fastener
		if op.Side == specdata.SideLeft || op.Side == specdata.SideRight {
			add(claim.OfSide, "%s", op.Side)
		}
		if f != nil && f.Count > 1 && f.Count <= 12 && len(op.Positions) == 0 && fromTitle(op.Do) {
			add(claim.OfCount, "%d", f.Count)
		}
		if op.New {
			add(claim.OfNewness, "new")
		}
		if op.Do == specdata.Start || op.Do == specdata.Snug {
			add(claim.OfManner, "hand")
		}
		if op.Do == specdata.StageVerb || op.Do == specdata.Turn {
			if f != nil && f.Tightening != nil && len(f.Tightening.Stages) > 1 {
				add(claim.OfTimes, "stage %d", op.Stage)
				add(claim.OfTimes, "stage %d", len(f.Tightening.Stages))
			}
		}
		if f != nil && f.Tightening != nil && f.Tightening.Pattern != nil && len(op.Positions) != 1 &&
			(op.Do == specdata.Tighten || op.Do == specdata.StageVerb || op.Do == specdata.Turn) {
			if o := f.Tightening.Pattern.Order; o != "one" {
				add(claim.OfPattern, "%s", o)
			}
		}
	}
	return out
}

// fromTitle reports whether an act is said with its things' names.
func fromTitle(v specdata.Verb) bool {
	return !slices.Contains([]specdata.Verb{specdata.Secure, specdata.Raise, specdata.Support, specdata.Lower}, v)
}

// read lists what a sentence claims in the same words.
func read(x *claim.Text) []string {
	var out []string
	for _, c := range x.Clauses {
		for _, q := range c.Claims {
			s := ""
			switch q.Kind {
			case claim.OfSide, claim.OfNewness, claim.OfManner, claim.OfPattern:
				s = string(q.Kind) + " " + q.Value
			case claim.OfCount:
				s = fmt.Sprintf("count %g", q.Number.Readings[0])
			case claim.OfTimes:
				s = fmt.Sprintf("times %s %g", q.Unit, q.Number.Readings[0])
			}
			if s != "" && !slices.Contains(out, s) {
				out = append(out, s)
			}
		}
	}
	return out
}

// exact holds what a composed sentence claims to what the acts claim: no more, no less.
func exact(t *testing.T, w *claim.World, step int, where string) {
	t.Helper()
	text := w.Compose(step)
	acts := w.StepActs(step)
	want, got := claimsOf(w, step), read(w.Read(text))
	titles := ""
	for _, a := range acts { // a title may have a word of its own: "left track-rod end"
		titles += " " + strings.ToLower(a.Thing.Title) + " " + a.Op.With
		for _, c := range w.Procedure.Consumables {
			if c.ID == a.Op.With {
				titles += " " + strings.ToLower(c.Title)
			}
		}
	}
	for _, s := range want {
		if !slices.Contains(got, s) {
			t.Errorf("%s: %q does not claim %q; it claims %q", where, text, s, got)
		}
	}
	for _, s := range got {
		if _, value, _ := strings.Cut(s, " "); !slices.Contains(want, s) && !strings.Contains(titles, value) {
			t.Errorf("%s: %q claims %q, which no act does; they claim %q", where, text, s, want)
		}
	}
}
