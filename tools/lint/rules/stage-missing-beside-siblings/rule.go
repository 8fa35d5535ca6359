// Package stagemissingbesidesiblings finds stages that got lost beside a sibling that has them.
package stagemissingbesidesiblings

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "stage-missing-beside-siblings",
	Title:     "a stage is missing that siblings have",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 10-3930-669-20", Clause: "appendix E", Note: "torque, then angles that add up"}},
	Protects:  lint.Number,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	own := f.Tightening.Stages
	for _, e := range p.Neighbours() {
		o := e.Record.(*specdata.Fastener)
		theirs := o.Tightening.Stages
		if len(theirs) <= len(own) || !strings.EqualFold(o.Title, f.Title) || class(o) != class(f) {
			continue
		}
		missing := missing(own, theirs)
		if missing < 0 {
			continue
		}
		p.Report(lint.Problem{
			At:      "/tightening/stages",
			Message: fmt.Sprintf("stages are those of %s but for its stage %d, %s; a stage was lost here or is surplus there: read both in the source", o.ID, missing+1, words(&theirs[missing])),
			Related: []specdata.Related{lint.Related(e, fmt.Sprintf("/tightening/stages/%d", missing), o.Title+" has "+words(&theirs[missing]))},
		})
		return
	}
}

func class(f *specdata.Fastener) string {
	if f.Strength == nil {
		return ""
	}
	return f.Strength.Bolt
}

// missing returns the first stage that is left over when the own stages are found
// in theirs in order, or -1 where they are not.
func missing(own, theirs []specdata.Stage) int {
	first, i := -1, 0
	for k := range theirs {
		if i < len(own) && same(&own[i], &theirs[k]) {
			i++
		} else if first < 0 {
			first = k
		}
	}
	if i < len(own) {
		return -1
	}
	return first
}

func same(a, b *specdata.Stage) bool {
	return a.Torque.Agree(b.Torque) && a.Angle.Agree(b.Angle) && a.Wait.Agree(b.Wait) && a.Slacken == b.Slacken && a.Seat == b.Seat
}

func words(s *specdata.Stage) string {
	switch {
	case !s.Torque.IsZero():
		return lint.Torque(s.Torque)
	case !s.Angle.IsZero():
		return specdata.Display(s.Angle)
	case !s.Wait.IsZero():
		return "a wait of " + specdata.Display(s.Wait)
	case s.Slacken:
		return "a slackening"
	}
	return "seating by " + s.Seat
}
