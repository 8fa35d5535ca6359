// Package strongerboltraisedtorque finds torques raised because a stronger bolt was fitted.
package strongerboltraisedtorque

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "stronger-bolt-raised-torque",
	Title:     "torque is raised along with the class of the bolt",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TM 9-2330-384-14&P", Clause: "appendix H", Note: "a stronger replacement takes the original torque"}},
	Protects:  lint.Correction,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Change:    check,
}

func check(p *lint.Pass, old specdata.Record) {
	was, ok := old.(*specdata.Fastener)
	is := p.Fastener()
	if !ok || was.Strength == nil || is.Strength == nil || was.Thread == nil || is.Thread == nil ||
		was.Strength.Bolt == is.Strength.Bolt || was.Thread.Designation != is.Thread.Designation {
		return
	}
	rise, ok := raised(was, is)
	if !ok || engineered(p, was, is, rise.New) {
		return
	}
	before, after, err := grades(was, is)
	if err != nil {
		p.NotChecked("/strength/bolt", "the two classes cannot be compared: "+err.Error())
		return
	}
	if after.Tensile <= before.Tensile {
		return
	}
	p.Report(lint.Problem{
		At: rise.At,
		Message: fmt.Sprintf("value rises from %s to %s with the bolt's class, %s to %s; the joint sets the torque, not the bolt: keep %s, or cite the maker's document that gives the new value for the stronger bolt",
			specdata.Display(rise.Old), specdata.Display(rise.New), before.Name, after.Name, specdata.Display(rise.Old)),
		Arithmetic: []string{fmt.Sprintf("%.4g times the value for %.4g times the tensile strength", rise.Ratio(), after.Tensile/before.Tensile)},
	})
}

// raised returns the first torque or angle of a stage that a change raises.
func raised(was, is *specdata.Fastener) (lint.Move, bool) {
	for _, m := range lint.Moves(was, is) {
		if d := m.New.Dimension(); (d == specdata.Torque || d == specdata.Angle) && strings.HasPrefix(m.At, "/tightening/stages/") && m.Ratio() > 1 {
			return m, true
		}
	}
	return lint.Move{}, false
}

// engineered reports whether a document speaks for the new value. A general torque
// table does not: it knows the bolt and not the joint.
func engineered(p *lint.Pass, was, is *specdata.Fastener, value specdata.Quantity) bool {
	if !lint.Backed(was.Source, is.Source, value) {
		return false
	}
	s := library.Source(p.Library, is.Source.Document)
	return s == nil || s.Type != "table"
}

func grades(was, is *specdata.Fastener) (before, after joint.Grade, err error) {
	t, err := joint.ParseThread(is.Thread.Designation)
	if err != nil {
		return before, after, err
	}
	if before, err = joint.BoltGrade(was.Strength.Bolt, t.Major); err != nil {
		return before, after, err
	}
	after, err = joint.BoltGrade(is.Strength.Bolt, t.Major)
	return before, after, err
}
