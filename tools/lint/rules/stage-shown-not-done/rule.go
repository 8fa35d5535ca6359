// Package stageshownnotdone reports: a sentence shows the value of another stage than its step does.
package stageshownnotdone

import (
	_ "embed"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "stage-shown-not-done",
	Title:     "a sentence shows the value of another stage than its step does",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E", Note: "every stage a line of its own with its value"}},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

// part is what one step does to one fastener.
type part struct {
	step     *specdata.Step
	at       int
	fastener *specdata.Fastener
	done     []int // stages, from 1
}

func check(p *lint.Pass) {
	var parts []part
	for _, u := range p.Tightenings() {
		if len(u.Fastener.Tightening.Stages) < 2 {
			continue
		}
		i := slices.IndexFunc(parts, func(x part) bool { return x.at == u.Act.StepIndex && x.fastener == u.Fastener })
		if i < 0 {
			i = len(parts)
			parts = append(parts, part{step: u.Act.Step, at: u.Act.StepIndex, fastener: u.Fastener})
		}
		for _, s := range u.Stages {
			if !slices.Contains(parts[i].done, s+1) {
				parts[i].done = append(parts[i].done, s+1)
			}
		}
	}
	for _, x := range parts {
		judge(p, x)
	}
}

func judge(p *lint.Pass, x part) {
	var shown []int
	whole := false
	for _, v := range specdata.ValuesShown(x.step.Text) {
		if v.Fastener == x.fastener.ID {
			whole = whole || v.Stage == 0
			shown = append(shown, v.Stage)
		}
	}
	if len(shown) == 0 {
		return // torque-without-value speaks
	}
	var missing, mend []string
	for _, n := range x.done {
		if !slices.Contains(shown, n) && hasValue(x.fastener, n) {
			missing = append(missing, strconv.Itoa(n))
			mend = append(mend, specdata.OneStage(x.fastener.ID, n))
		}
	}
	at, all := specdata.At("/steps", x.at, "text"), len(x.fastener.Tightening.Stages)
	switch {
	case whole && len(x.done) < all && len(missing) > 0:
		p.Report(lint.Problem{At: at, Severity: lint.Warning, Message: fmt.Sprintf(
			"sentence of step %q shows all %d stages of %s and the step does stage %s; write %s, or the reader goes on to the last value", x.step.ID, all, x.fastener.ID, list(x.done), strings.Join(mend, " and "))})
	case !whole && len(missing) > 0:
		p.Reportf(at, "sentence of step %q shows stage %s of %s and not stage %s, which the step does; write %s", x.step.ID, list(shown), x.fastener.ID, strings.Join(missing, " and "), strings.Join(mend, " and "))
	}
}

func hasValue(f *specdata.Fastener, n int) bool {
	s := &f.Tightening.Stages[n-1]
	return !s.Torque.IsZero() || !s.Angle.IsZero()
}

func list(ns []int) string {
	var words []string
	for _, n := range ns {
		words = append(words, strconv.Itoa(n))
	}
	return strings.Join(words, " and ")
}
