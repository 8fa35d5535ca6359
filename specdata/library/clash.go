package library

import (
	"slices"

	"proofload/specdata"
)

// Clash is another fastener that answers for the same joint of the same vehicle,
// so that a question about the joint has two answers.
type Clash struct {
	Other *Entry
	// Clause and OtherClause are the clauses under which both apply.
	Clause, OtherClause int
	// Both is what the two clauses share.
	Both specdata.Applies
	// Split says that the clauses restrict the builds differently, so that the
	// records read as a series whose ranges run into each other.
	Split bool
	// Certain says that the build ranges can be compared; a range of dates beside
	// one of production numbers may not overlap at all.
	Certain bool
	// Alike says that both reach the same torques and angles, OtherThread that they
	// are not the same thread, Declared that the records name each other as one joint.
	Alike, OtherThread, Declared bool
}

// Fastener returns the other record.
func (c *Clash) Fastener() *specdata.Fastener { return c.Other.Record.(*specdata.Fastener) }

// Clashes lists the fasteners that answer for the same joint as f: its duplicates,
// as Duplicates returns them, and those it is paired with as one joint, where
// applicability overlaps. Records paired as bolt and nut or as stages of one
// tightening belong together and do not clash.
func Clashes(l Library, f *specdata.Fastener, duplicates []*Entry) []Clash {
	var clashes []Clash
	for _, e := range duplicates {
		o := e.Record.(*specdata.Fastener)
		as := pairedAs(f, o)
		if as == "bolt-nut" || as == "first-stage" {
			continue
		}
		if c, ok := clashOf(f, o, e); ok {
			c.Declared = as == "same-joint"
			clashes = append(clashes, c)
		}
	}
	for _, p := range f.Pairs {
		e := l.Get(specdata.NewName(specdata.KindFastener, p.Fastener))
		if p.As != "same-joint" || p.Fastener == f.ID || e == nil || slices.Contains(duplicates, e) {
			continue
		}
		if c, ok := clashOf(f, e.Record.(*specdata.Fastener), e); ok {
			c.Declared = true
			clashes = append(clashes, c)
		}
	}
	return clashes
}

// pairedAs returns how either record pairs itself with the other, "" for not at all.
func pairedAs(f, o *specdata.Fastener) string {
	for _, p := range f.Pairs {
		if p.Fastener == o.ID {
			return p.As
		}
	}
	for _, p := range o.Pairs {
		if p.Fastener == f.ID {
			return p.As
		}
	}
	return ""
}

// clashOf compares the clauses. Among several that overlap, a pair over the same
// builds is the plainest.
func clashOf(f, o *specdata.Fastener, e *Entry) (Clash, bool) {
	var first Clash
	found := false
	for i, a := range f.AppliesTo {
		for j, b := range o.AppliesTo {
			if !a.Overlap(b) {
				continue
			}
			split := !(a.Built.Within(b.Built) && b.Built.Within(a.Built))
			if found && (split || !first.Split) {
				continue
			}
			first = Clash{Other: e, Clause: i, OtherClause: j, Both: a.And(b), Split: split, Certain: a.Built.Comparable(b.Built)}
			found = true
		}
	}
	if found {
		first.Alike = f.Tightening.SameValues(o.Tightening)
		first.OtherThread = f.Thread != nil && o.Thread != nil && f.Thread.Designation != o.Thread.Designation
	}
	return first, found
}
