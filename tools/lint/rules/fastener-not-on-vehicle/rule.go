// Package fastenernotonvehicle holds the rule fastener-not-on-vehicle: fastener does not apply where it is used.
package fastenernotonvehicle

import (
	_ "embed"
	"fmt"
	"slices"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "fastener-not-on-vehicle",
	Title:     "fastener does not apply where it is used",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Fit,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	switch r := p.Entry.Record.(type) {
	case *specdata.Assembly:
		for at, ids := range r.HeldBy() {
			held(p, at, ids, r.AppliesTo)
		}
	case *specdata.Procedure:
		procedure(p, r)
	}
}

// held judges a list of an assembly. A thing may be fastened differently, or not
// be there, on some of the vehicles, so only a fastener that applies to none of
// them is an error; a vehicle on which none of the list applies is a warning.
func held(p *lint.Pass, at string, ids []string, clauses []specdata.Applies) {
	applied := make([]bool, len(clauses))
	known := 0
	for j, id := range ids {
		f := library.Fastener(p.Library, id)
		if f == nil {
			p.NotChecked(specdata.At(at, j, ""), "fastener "+id+" is not in the library")
			continue
		}
		known++
		any := false
		for i := range clauses {
			if specdata.Meets(f.AppliesTo, clauses[i]) {
				any, applied[i] = true, true
			}
		}
		if !any {
			report(p, specdata.At(at, j, ""), f, lint.Error, fmt.Sprintf("fastener %s applies to none of the vehicles of this assembly; name the record for %s, or correct the applicability of one of the two", id, clauses[0]))
		}
	}
	for i, ok := range applied {
		if !ok && known == len(ids) && slices.Contains(applied, true) {
			p.Report(lint.Problem{At: at, Severity: lint.Warning, Message: fmt.Sprintf("none of these fasteners applies to %s, which the assembly is also for; add the fastener that holds it there", clauses[i])})
		}
	}
}

// procedure judges each fastener an operation names: together with the procedure's
// other fasteners of that place and title, it must cover what the step is for.
func procedure(p *lint.Pass, r *specdata.Procedure) {
	named := fasteners(p, r)
	// A fastener is reported once, and judged once for the steps that restrict nothing.
	told, judged := map[string]bool{}, map[string]bool{}
	for i := range r.Steps {
		s := &r.Steps[i]
		for j := range s.Operations {
			op := &s.Operations[j]
			typ, id := op.Target.Split()
			free := len(s.Where) == 0 && s.Side == "" && op.Side == ""
			if typ != "fastener" || told[id] || free && judged[id] {
				continue
			}
			judged[id] = judged[id] || free
			f := library.Fastener(p.Library, id)
			if f == nil {
				p.NotChecked(operation(i, j), "fastener "+id+" is not in the library")
				continue
			}
			if text := judge(p, f, s, op, r.AppliesTo, named); text != "" {
				told[id] = true
				report(p, operation(i, j), f, lint.Error, text)
			}
		}
	}
}

func operation(step, op int) string {
	return specdata.At(specdata.At("/steps", step, "operations"), op, "target")
}

func judge(p *lint.Pass, f *specdata.Fastener, s *specdata.Step, op *specdata.Operation, clauses []specdata.Applies, named []*specdata.Fastener) string {
	family := slices.Clone(f.AppliesTo)
	for _, o := range named {
		if o != f && o.Place == f.Place && specdata.SameWords(o.Title, f.Title) {
			family = append(family, o.AppliesTo...)
		}
	}
	side := op.Side
	if side == "" {
		side = s.Side
	}
	none, rest, short := library.Shortfall(p.Library, clauses, s.Where, f.AppliesTo, family)
	switch {
	case none:
		return fmt.Sprintf("fastener %s applies to none of the vehicles of this step; name the record for %s, or restrict the step", f.ID, clauses[0])
	case side != "" && !slices.ContainsFunc(f.AppliesTo, func(a specdata.Applies) bool {
		return specdata.Applies{Side: a.Side}.Overlap(specdata.Applies{Side: side})
	}):
		return fmt.Sprintf("fastener %s is for the %s side, and this is done on the %s; name the record of that side", f.ID, f.AppliesTo[0].Side, side)
	case short:
		return fmt.Sprintf("fastener %s does not apply to %s, which the step is also for; restrict the step or the procedure, or name the record that applies there", f.ID, rest)
	}
	return ""
}

func fasteners(p *lint.Pass, r *specdata.Procedure) []*specdata.Fastener {
	var fs []*specdata.Fastener
	for i := range r.Steps {
		for _, op := range r.Steps[i].Operations {
			if typ, id := op.Target.Split(); typ == "fastener" {
				if f := library.Fastener(p.Library, id); f != nil && !slices.Contains(fs, f) {
					fs = append(fs, f)
				}
			}
		}
	}
	return fs
}

func report(p *lint.Pass, at string, f *specdata.Fastener, severity specdata.Severity, text string) {
	p.Report(lint.Problem{
		At: at, Severity: severity, Message: text,
		Related: []specdata.Related{lint.Related(p.Library.Get(f.Name()), "/applies_to", "what the fastener applies to")},
	})
}
