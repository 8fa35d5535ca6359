// Package applicabilitygap holds the rule applicability-gap: a series of records leaves some vehicles without a value.
package applicabilitygap

import (
	_ "embed"
	"fmt"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "applicability-gap",
	Title:     "a series of records leaves some vehicles without a value",
	Doc:       doc,
	Severity:  lint.Warning,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindFastener),
	Record:    check,
}

// A gap is reported on the records to either side of it.
func check(p *lint.Pass) {
	f := p.Fastener()
	duplicates := p.Duplicates()
	if len(duplicates) == 0 && wholly(f.AppliesTo) || p.Incomplete("/applies_to", specdata.KindFastener) {
		return
	}
	for i, a := range f.AppliesTo {
		if v := library.Vehicle(p.Library, a.Vehicle); v != nil && firstOf(f.AppliesTo, i) {
			onVehicle(p, v, f.AppliesTo, series(f, duplicates, v.ID))
		}
	}
}

func onVehicle(p *lint.Pass, v *specdata.Vehicle, own, all []specdata.Applies) {
	gaps, ok := specdata.Gaps(v, own, all)
	if !ok {
		p.NotChecked("/applies_to", "the builds of "+v.ID+" are given in dates and in production numbers, which cannot be compared")
	}
	for _, g := range gaps {
		at, severity := specdata.At("/applies_to", g.Clause, "built"), lint.Warning
		text := "no record says what holds for %s; add the record, or move the end of the range if it is wrong"
		switch {
		case g.Option != "":
			at, text = specdata.At("/applies_to", g.Clause, "where/"+g.Option), "records split this joint by "+g.Option+", but none is for %s; add the value where it belongs, or the record"
		case !g.Inside:
			severity, text = lint.Advice, "no record says what holds for %s; add one if the fastener was fitted then"
		case g.After:
			at += "/to"
		default:
			at += "/from"
		}
		p.Report(lint.Problem{At: at, Severity: severity, Message: fmt.Sprintf(text, g.Missing)})
	}
}

func wholly(as []specdata.Applies) bool {
	for i := range as {
		if !as[i].Built.Whole() {
			return false
		}
	}
	return true
}

func firstOf(as []specdata.Applies, i int) bool {
	for j := range i {
		if as[j].Vehicle == as[i].Vehicle {
			return false
		}
	}
	return true
}

// series gathers the clauses on a vehicle that are for a side the fastener is for.
func series(f *specdata.Fastener, duplicates []*library.Entry, vehicle string) []specdata.Applies {
	var all []specdata.Applies
	add := func(as []specdata.Applies) {
		for _, b := range as {
			for _, a := range f.AppliesTo {
				if b.Vehicle == vehicle && a.Vehicle == vehicle && (specdata.Applies{Side: a.Side}).Overlap(specdata.Applies{Side: b.Side}) {
					all = append(all, b)
					break
				}
			}
		}
	}
	add(f.AppliesTo)
	for _, e := range duplicates {
		add(e.Record.(*specdata.Fastener).AppliesTo)
	}
	return all
}
