// Package changedropsasafeguard reports: a correction takes away something that protects.
package changedropsasafeguard

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "change-drops-a-safeguard",
	Title:     "a correction takes away something that protects",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener, specdata.KindProcedure),
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	var at string
	var lost []string
	switch is := p.Entry.Record.(type) {
	case *specdata.Fastener:
		if was, ok := old.(*specdata.Fastener); ok {
			lost = fastener(was, is)
		}
	case *specdata.Procedure:
		if was, ok := old.(*specdata.Procedure); ok {
			at, lost = "/steps", procedure(was, is)
		}
	}
	if len(lost) > 0 {
		severity := lint.Warning
		if reread(old, p.Entry.Record) {
			severity = lint.Advice // the source was read again and may say so; the diff shows it
		}
		p.Report(lint.Problem{At: at, Severity: severity, Message: "correction takes away " + strings.Join(lost, ", ") + "; put it back, or say in the reason why it is not needed"})
	}
}

func fastener(was, is *specdata.Fastener) (lost []string) {
	note := func(gone bool, format string, args ...any) {
		if gone {
			lost = append(lost, fmt.Sprintf(format, args...))
		}
	}
	a, b := was.Tightening, is.Tightening
	note(a.Hold != nil && b.Hold == nil, "what to hold")
	note(a.Pattern != nil && b.Pattern == nil, "the order")
	if a.Pattern != nil && b.Pattern != nil {
		note(a.Pattern.Order != b.Pattern.Order, "the order %s", a.Pattern.Order)
		note(a.Pattern.Order == b.Pattern.Order && !slices.Equal(a.Pattern.Sequence, b.Pattern.Sequence), "the order %v", a.Pattern.Sequence)
		note(b.Pattern.Passes < a.Pattern.Passes, "a pass")
	}
	note(is.Count < was.Count, "%d of %d fasteners", was.Count-is.Count, was.Count)
	note(was.Safety != "" && is.Safety == "", "the safety reason %s", was.Safety)
	for _, u := range was.FollowUps {
		note(!slices.ContainsFunc(is.FollowUps, func(o specdata.FollowUp) bool { return o.Check == u.Check }), "the follow-up %s", u.Check)
	}
	if was.Source == nil || is.Source == nil || was.Source.Document == is.Source.Document && was.Source.At == is.Source.At && was.Source.ReadOn == is.Source.ReadOn && was.Source.Quote == is.Source.Quote {
		return lost // with a citation that stays behind, that is another rule's word
	}
	note(was.Lock != nil && is.Lock == nil, "the lock")
	note(a.State != specdata.StateAny && b.State == specdata.StateAny, "the state %s", a.State)
	note(strict[b.Impact] < strict[a.Impact], "impact %s", a.Impact)
	note(strict[is.Reuse.Rule] < strict[was.Reuse.Rule], "reuse %s", was.Reuse.Rule)
	return lost
}

// strict ranks what a record may say about impact tools and about reuse.
var strict = map[string]int{"allowed": 0, "removal-only": 1, "never": 2, "reuse": 0, "measure": 1, "replace-if-loosened": 2, "replace": 3}

func procedure(was, is *specdata.Procedure) (lost []string) {
	now := hazards(is)
	for _, h := range hazards(was) {
		if !slices.Contains(now, h) {
			lost = append(lost, "every caution about "+h)
		}
	}
	kept := looks(is)
	for _, l := range looks(was) {
		i := slices.IndexFunc(kept, func(o specdata.Operation) bool { return o.Do == l.Do && o.Target == l.Target })
		switch {
		case i < 0:
			lost = append(lost, fmt.Sprintf("%s of %s", l.Do, l.Target))
			continue
		case l.Accept != "" && kept[i].Accept == "":
			lost = append(lost, fmt.Sprintf("the criterion of %s of %s", l.Do, l.Target))
		}
		kept = slices.Delete(kept, i, i+1)
	}
	return lost
}

func hazards(r *specdata.Procedure) (all []string) {
	note := func(cs []specdata.Caution) {
		for _, c := range cs {
			if c.Hazard != "" && !slices.Contains(all, c.Hazard) {
				all = append(all, c.Hazard)
			}
		}
	}
	note(r.Cautions)
	for i := range r.Steps {
		note(r.Steps[i].Cautions)
	}
	return all
}

// looks lists the operations that protect by looking or telling.
func looks(r *specdata.Procedure) (all []specdata.Operation) {
	for i := range r.Steps {
		for _, op := range r.Steps[i].Operations {
			switch op.Do {
			case specdata.Inspect, specdata.Check, specdata.Measure, specdata.RoadTest, specdata.RecordJob, specdata.Advise, specdata.StopIf:
				all = append(all, op)
			}
		}
	}
	return all
}

// reread reports whether the citation names another document, place or quote than
// before. A new day alone shows nothing.
func reread(was, is specdata.Record) bool {
	a, b := specdata.CitationOf(was), specdata.CitationOf(is)
	return a != nil && b != nil && (a.Document != b.Document || a.At != b.At || a.Quote != b.Quote)
}
