// Package prevailingtorquenotcounted finds locking nuts whose own torque nobody counted.
package prevailingtorquenotcounted

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "prevailing-torque-not-counted",
	Title:     "drag of the locking thread is not counted",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{{Kind: lint.Guidance, Document: "FAA AC 43.13-1B", Clause: "chapter 7", Note: "add friction drag"}, {Kind: lint.Manual, Document: "US Army TM 9-2320-365-34-2", Clause: "appendix E"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.Fasteners,
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	locks := f.Lock != nil && (f.Lock.By == "insert" || f.Lock.By == "deformed-thread" || f.Lock.By == "patch" || f.Lock.By == "micro-encapsulated")
	precoated := f.Surface != nil && (f.Surface.Condition == "precoated" || f.Surface.Condition == "threadlock")
	if i, _ := f.Tightening.FinalTorque(); i < 0 && len(f.Tightening.Stages) > 0 && !f.Tightening.Stages[len(f.Tightening.Stages)-1].Rolling.IsZero() {
		return // the nut goes to the rolling torque of its bearing, which drag is no part of
	}
	switch drag := f.Tightening.Drag; {
	case locks && drag == "not-applicable":
		p.Reportf("/tightening/drag", "drag is not-applicable, but the lock is %s, which takes torque before it clamps; write included if the value is the final reading, or add if the measured drag comes on top", f.Lock.By)
	case !locks && !precoated && drag != "not-applicable":
		p.Reportf("/tightening/drag", "drag is %s, but the record names no locking thread; add lock.by (insert, deformed-thread, patch, micro-encapsulated), or write not-applicable", drag)
	}
}
