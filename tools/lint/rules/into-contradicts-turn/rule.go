// Package intocontradictsturn finds nuts that a record also calls a hole.
package intocontradictsturn

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "into-contradicts-turn",
	Title:     "what turns, what it sits on and what the stud is held by contradict each other",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil && f.Drive != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	nut := f.Drive.Turn == "nut"
	switch {
	case nut && f.Thread.Into != "nut" && f.Thread.Into != "plastic" && clampsByNut(f):
		mend := fmt.Sprintf("write into: nut, and stud: {held: screwed, into: %s} where the stud is screwed in (pressed or welded where it is not)", f.Thread.Into)
		if f.Drive.Head != "" {
			mend = "write into: nut, since the bolt has a head (" + f.Drive.Head + ")"
		}
		p.Reportf("/thread/into", "a nut is turned, and the thread goes into %s: the nut would not be judged; %s", f.Thread.Into, mend)
	case f.Stud != nil && !nut:
		p.Reportf("/stud", "stud says how the stud of a nut is held, and the %s is turned here; write turn: nut, or take stud away", f.Drive.Turn)
	case f.Stud != nil && f.Drive.Head != "":
		p.Reportf("/stud", "a stud has no head, and drive.head is %s; take stud away for a bolt with its head held, or drive.head for a stud", f.Drive.Head)
	}
	switch s := f.Stud; {
	case s == nil:
	case s.Held == "screwed" && s.Into == "":
		p.Report(lint.Problem{At: "/stud", Severity: lint.Advice, Message: "the stud is screwed in, and nothing says into what, so nobody can tell whether it pulls out; add stud.into and stud.engagement"})
	case s.Held != "screwed" && (s.Into != "" || !s.Engagement.IsZero()):
		p.Reportf("/stud", "the stud is %s, and into or engagement say that it is screwed in; correct the one that is wrong", s.Held)
	}
	if c := f.Thread.Captive; c != "" && (f.Thread.Into != "nut" || nut) {
		p.Reportf("/thread/captive", "captive says that a nut is kept at its place (%s), and the record turns the %s into %s; correct captive, turn or into", c, f.Drive.Turn, f.Thread.Into)
	}
}

// clampsByNut leaves out what is called a nut and has its thread outside: union nuts,
// glands and plugs.
func clampsByNut(f *specdata.Fastener) bool {
	switch f.Joint {
	case specdata.JointUnion, specdata.JointPlug, specdata.JointSensor, specdata.JointBanjo, specdata.JointPlastic:
		return false
	}
	return true
}
