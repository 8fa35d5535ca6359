// Package socketdoesnotfit reports: the tool named does not fit the fastener.
package socketdoesnotfit

import (
	_ "embed"

	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "socket-does-not-fit",
	Title:     "the tool named does not fit the fastener",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 272"}, {Kind: lint.Standard, Document: "ISO 4014"}, {Kind: lint.Standard, Document: "ISO 4032"}},
	Protects:  lint.Tools,
	Edition:   "2026-12",
	AppliesTo: lint.Procedures,
	Record:    check,
}

func check(p *lint.Pass) {
	for _, w := range p.Operations() {
		if !w.Turns() {
			continue
		}
		f := w.Fastener
		if t := w.Listed; t != nil && t.Size != "" && lint.Turned(f) != "" && !lint.Fits(t.Size, lint.Turned(f)) {
			p.Reportf(w.At+"/tool", "%s of %s does not fit %s, which is turned by %s; name the tool that fits", t.Title, t.Size, w.Target, lint.Turned(f))
		}
		t := p.Procedure().ToolOf(w.With)
		if t == nil || t.Size == "" || lint.Fits(t.Size, lint.Held(f)) {
			continue
		}
		hold := ""
		if f.Tightening.Hold != nil {
			hold = f.Tightening.Hold.With
		}
		sizes := lint.Measures(hold)
		if lint.HasMeasure(t.Size, sizes) || lint.Held(f) == "" && len(sizes) == 0 {
			continue
		}
		want := hold
		if want == "" {
			want = lint.Held(f)
		}
		p.Reportf(w.At+"/with", "%s of %s does not hold %s, which is held with %s; name the tool that fits", t.Title, t.Size, w.Target, want)
	}
}
