// Package lockcontradictssurface reports: lock and thread condition contradict each other.
package lockcontradictssurface

import (
	_ "embed"

	"proofload/specdata"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "lock-contradicts-surface",
	Title:     "lock and thread condition contradict each other",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Manual, Document: "US Army TB 43-0218", Note: "locking compounds and patches"}, lint.CommonPractice},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Surface != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	coated := f.Surface.Condition == "threadlock" || f.Surface.Condition == "precoated"
	compound := f.Lock != nil && f.Lock.By == "compound"
	switch {
	case coated && f.Lock == nil && f.Surface.Friction == "":
		severity := lint.Warning
		if f.Surface.Condition == "precoated" && f.Reuse.Rule == "replace" {
			severity = lint.Advice // the coat goes with the bolt, whatever it is for
		}
		p.Report(lint.Problem{At: "/surface/condition", Severity: severity, Message: "surface is " + f.Surface.Condition + ", which locks the thread, and the record names no lock; add lock: {by: compound}, or give the friction of a coating that does not lock"})
	case compound && !coated && f.Surface.Condition != "compound":
		p.Reportf("/surface/condition", "lock is a compound, but the surface is %s; write threadlock with its product or precoated, or the value is taken for a thread without it", f.Surface.Condition)
	}
}
