// Package valueinprose holds the rule value-in-prose: value of a fastener typed into a sentence.
package valueinprose

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "value-in-prose",
	Title:     "value of a fastener typed into a sentence",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{lint.CommonPractice},
	Protects:  lint.Words,
	Edition:   "2026-12",
	AppliesTo: lint.Kind(specdata.KindVehicle, specdata.KindFastener, specdata.KindAssembly, specdata.KindProcedure),
	Record:    check,
}

func check(p *lint.Pass) {
	h := p.Entry.Record.Header()
	var own []*specdata.Fastener
	if f, ok := p.Entry.Record.(*specdata.Fastener); ok {
		own = []*specdata.Fastener{f}
	}
	prose(p, pointer{"/title", -1, ""}, h.Title, lint.Warning, own, nil)
	prose(p, pointer{"/note", -1, ""}, h.Note, lint.Warning, own, nil)
	if r, ok := p.Entry.Record.(*specdata.Procedure); ok {
		for i := range r.Cautions {
			prose(p, pointer{"/cautions", i, "text"}, r.Cautions[i].Text, lint.Warning, nil, nil)
		}
		for i := range r.Steps {
			step(p, r, i)
		}
	}
}

func step(p *lint.Pass, r *specdata.Procedure, i int) {
	s := &r.Steps[i]
	var fasteners []*specdata.Fastener
	for _, op := range s.Operations {
		if typ, id := op.Target.Split(); typ == "fastener" {
			if f := library.Fastener(p.Library, id); f != nil {
				fasteners = append(fasteners, f)
			}
		}
	}
	allowed := func(m specdata.Mention) bool { return limit(s, m) || rangeOf(r, s, m) }
	prose(p, pointer{"/steps", i, "text"}, s.Text, lint.Error, fasteners, allowed)
	for j := range s.Cautions {
		prose(p, pointer{specdata.At("/steps", i, "cautions"), j, "text"}, s.Cautions[j].Text, lint.Warning, fasteners, allowed)
	}
	for j := range s.Operations {
		if note := s.Operations[j].Note; note != "" {
			prose(p, pointer{specdata.At("/steps", i, "operations"), j, "note"}, note, lint.Warning, fasteners, allowed)
		}
	}
}

// pointer is a JSON pointer not yet put together: nearly every text is silent.
type pointer struct {
	base string
	i    int // -1 where base is all
	key  string
}

func (at pointer) String() string {
	if at.i < 0 {
		return at.base
	}
	return specdata.At(at.base, at.i, at.key)
}

// limit reports whether a mention repeats a limit that an operation of the step
// measures or accepts.
func limit(s *specdata.Step, m specdata.Mention) bool {
	for i := range s.Operations {
		op := &s.Operations[i]
		if m.Quantity.Agree(op.Low) || m.Quantity.Agree(op.High) || m.Quantity.Agree(op.By) || strings.Contains(op.Accept, m.Text) {
			return true
		}
	}
	return false
}

// rangeOf reports whether a mention is an end of the range of a tool of the step.
func rangeOf(r *specdata.Procedure, s *specdata.Step, m specdata.Mention) bool {
	for i := range s.Operations {
		for j := range r.Tools {
			if t := &r.Tools[j]; t.ID == s.Operations[i].Tool && (m.Quantity.Agree(t.From) || m.Quantity.Agree(t.To)) {
				return true
			}
		}
	}
	return false
}

// prose reports the first torque in a text, or an angle that is a stage of one
// of the fasteners: other angles are movements.
func prose(p *lint.Pass, at pointer, text string, severity specdata.Severity, fasteners []*specdata.Fastener, allowed func(specdata.Mention) bool) {
	if !strings.ContainsAny(text, "0123456789") {
		return
	}
	for _, m := range specdata.Mentions(text) {
		if allowed != nil && !m.Quantity.IsZero() && allowed(m) {
			continue
		}
		name := "FASTENER"
		angle := m.Quantity.Dimension() == specdata.Angle
		for _, f := range fasteners {
			for _, s := range f.Tightening.Values() {
				if m.Quantity.Agree(s.Torque) || m.Quantity.Agree(s.UpTo) || m.Quantity.Agree(s.Also) || m.Quantity.Agree(s.Angle) {
					name, angle = f.ID, false
				}
			}
		}
		if angle {
			continue
		}
		mend := fmt.Sprintf("write {torque:%s} in the step's sentence, which shows the value of the record", name)
		if severity == lint.Warning {
			mend = "take it out; the value belongs in the fastener's record alone"
		}
		p.Report(lint.Problem{At: at.String(), Severity: severity, Message: fmt.Sprintf("value %q is typed into a sentence and will stay when the record is corrected; %s", m.Text, mend)})
		return
	}
}
