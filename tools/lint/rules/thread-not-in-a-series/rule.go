// Package threadnotinaseries finds threads that no standard has.
package threadnotinaseries

import (
	_ "embed"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "thread-not-in-a-series",
	Title:     "thread is in no standard series",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 261", Edition: "1998", Note: "M3 to M39"}, {Kind: lint.Standard, Document: "ISO 262", Edition: "1998", Note: "M3 to M39"}, {Kind: lint.Standard, Document: "ASME B1.1", Note: "UNC and UNF, #8 to 1-1/2"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	d := f.Thread.Designation
	t, err := joint.ParseThread(d)
	if err == nil {
		// Collar nuts, plugs and sensors use threads outside the selection for bolts.
		if (f.Joint == specdata.JointClamp || f.Joint == specdata.JointWheel) && !t.Selected() {
			p.Report(lint.Problem{At: "/thread/designation", Severity: lint.Advice, Message: "thread " + d + " is in ISO 261 but not in the selection for bolts and nuts (ISO 262); it is unusual here: check the pitch"})
		}
		return
	}
	if beyond(d) {
		p.NotChecked("/thread/designation", "thread "+d+" is of a series or size that is not carried here")
		return
	}
	pr := lint.Problem{At: "/thread/designation", Message: fmt.Sprintf("%v; put a gauge on it or read it again", err)}
	var te *joint.ThreadError
	if errors.As(err, &te) && !te.Nearest.IsZero() {
		pr.Arithmetic = []string{fmt.Sprintf("nearest: %s, %.4g mm across, pitch %.4g mm", te.Nearest, 1e3*te.Nearest.Major, 1e3*te.Nearest.Pitch)}
	}
	p.Report(pr)
}

// beyond reports whether a thread may exist outside the series carried here.
func beyond(d string) bool {
	if size, ok := strings.CutPrefix(d, "M"); ok {
		size, _, _ = strings.Cut(size, "x")
		mm, err := strconv.ParseFloat(size, 64)
		return err == nil && (mm < 3 || mm > 39)
	}
	return strings.HasSuffix(d, " UNEF") || strings.HasSuffix(d, " UN")
}
