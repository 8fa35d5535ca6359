// Package placeholderunknown holds the rule placeholder-unknown: placeholder in a sentence that cannot be filled in.
package placeholderunknown

import (
	_ "embed"
	"fmt"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "placeholder-unknown",
	Title:     "placeholder in a sentence that cannot be filled in",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindProcedure),
	Record:    check,
}

var sorts = []string{"amount", "limit", "recheck", "stage", "tool", "torque", "wait"}

// bare are the sorts that name nothing: they show what an operation of the step says.
var bare = []string{"limit", "wait"}

func check(p *lint.Pass) {
	r := p.Procedure()
	cautions(p, "/cautions", r.Cautions)
	for at, s := range p.Steps() {
		for text := s.Text; ; {
			var inside string
			var closed, ok bool
			if inside, text, closed, ok = next(text); !ok {
				break
			}
			placeholder(p, r, s, at+"/text", inside, closed)
		}
		cautions(p, at+"/cautions", s.Cautions)
	}
}

// next cuts the next placeholder off a sentence.
func next(text string) (inside, rest string, closed, ok bool) {
	_, text, ok = strings.Cut(text, "{")
	if !ok {
		return "", "", false, false
	}
	inside, rest, closed = strings.Cut(text, "}")
	return inside, rest, closed, true
}

// cautions are shown as they are written: nothing in them is filled in.
func cautions(p *lint.Pass, at string, cs []specdata.Caution) {
	for i := range cs {
		if inside, _, _, ok := next(cs[i].Text); ok {
			p.Reportf(specdata.At(at, i, "text"), "placeholder {%s} stands in a caution, where nothing is filled in; say it in the step's sentence", inside)
		}
	}
}

func placeholder(p *lint.Pass, r *specdata.Procedure, s *specdata.Step, at, inside string, closed bool) {
	sort, id, named := strings.Cut(inside, ":")
	switch {
	case !closed:
		p.Reportf(at, "placeholder {%s is not closed; end it with }", inside)
	case !slices.Contains(sorts, sort) || named == slices.Contains(bare, sort):
		p.Reportf(at, "placeholder {%s} is of no known sort%s; write {torque:FASTENER}, {stage:FASTENER/N}, {recheck:FASTENER}, {tool:TOOL}, {amount:CONSUMABLE}, {wait} or {limit}", inside, specdata.DidYouMean(sort, slices.Values(sorts)))
	case sort == "tool" && !r.HasTool(id):
		p.Reportf(at, "placeholder {%s} names a tool that is not in the set-up%s; correct the id, or add the tool", inside, specdata.DidYouMean(id, r.ToolIDs()))
	case sort == "limit" && !slices.ContainsFunc(s.Operations, func(op specdata.Operation) bool { return !op.Low.IsZero() || !op.High.IsZero() }):
		p.Reportf(at, "placeholder {limit} has nothing to show: no operation of the step has low or high; give the limit there")
	case sort == "wait" && s.Waits().IsZero():
		p.Reportf(at, "placeholder {wait} has nothing to show: no operation of the step says how long; give for there")
	case sort == "amount" && r.ConsumableOf(id) == nil:
		p.Reportf(at, "placeholder {%s} names nothing of the consumables; correct the id, or list it", inside)
	case sort == "amount" && r.ConsumableOf(id).Amount.IsZero():
		p.Reportf(at, "placeholder {%s} has nothing to show: the consumable has no amount; give it there", inside)
	case sort == "recheck":
		recheck(p, at, id, inside)
	case sort == "torque":
		torque(p, r, s, at, id)
	case sort == "stage":
		for _, shown := range specdata.ValuesShown("{" + inside + "}") {
			stage(p, r, s, at, shown)
		}
	}
}

// stage judges a placeholder for one stage of a fastener.
func stage(p *lint.Pass, r *specdata.Procedure, s *specdata.Step, at string, shown specdata.Shown) {
	if shown.Stage < 0 {
		p.Reportf(at, "placeholder %s names no stage; write {stage:FASTENER/N} with the number of the stage from 1", shown.Placeholder)
		return
	}
	f := library.Fastener(p.Library, shown.Fastener)
	if f != nil && shown.Stage > len(f.Tightening.Stages) {
		p.Reportf(at, "placeholder %s names stage %d and the record has %d; correct the number", shown.Placeholder, shown.Stage, len(f.Tightening.Stages))
		return
	}
	torque(p, r, s, at, shown.Fastener)
}

// recheck judges the distance after which a torque is rechecked.
func recheck(p *lint.Pass, at, id, inside string) {
	f := library.Fastener(p.Library, id)
	if f == nil {
		p.NotChecked(at, "fastener "+id+" is not in the library")
		return
	}
	if f.Recheck().IsZero() {
		p.Reportf(at, "placeholder {%s} has nothing to show: the record owes no recheck after a distance or time; give its follow-up after", inside)
	}
}

// torque judges a fastener that exists; one that does not is an unresolved reference.
func torque(p *lint.Pass, r *specdata.Procedure, s *specdata.Step, at, id string) {
	if library.Fastener(p.Library, id) == nil {
		p.NotChecked(at, "fastener "+id+" is not in the library")
		return
	}
	target := specdata.Target("fastener:" + id)
	operates := func(s specdata.Step) bool {
		return slices.ContainsFunc(s.Operations, func(op specdata.Operation) bool { return op.Target == target })
	}
	if operates(*s) {
		return
	}
	pr := lint.Problem{At: at, Severity: lint.Warning, Message: fmt.Sprintf("sentence gives the value of %s, but no operation of the step acts on it; name the fastener that the step tightens, or add the operation", id)}
	if !slices.ContainsFunc(r.Steps, operates) {
		pr.Severity, pr.Message = lint.Error, fmt.Sprintf("sentence gives the value of %s, which no operation of the procedure acts on; name the fastener that the step tightens", id)
	}
	p.Report(pr)
}
