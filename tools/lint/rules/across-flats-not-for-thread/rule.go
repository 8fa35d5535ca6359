// Package acrossflatsnotforthread finds hexagons that do not belong to their thread.
package acrossflatsnotforthread

import (
	_ "embed"
	"fmt"
	"strings"

	"proofload/specdata"
	"proofload/specdata/joint"
	"proofload/tools/lint"
)

//go:embed doc.md
var doc string

// Rule is the declaration.
var Rule = &lint.Rule{
	Name:      "across-flats-not-for-thread",
	Title:     "hexagon is not one the thread has",
	Doc:       doc,
	Severity:  lint.Error,
	Cites:     []lint.Citation{{Kind: lint.Standard, Document: "ISO 272"}, {Kind: lint.Standard, Document: "ISO 4014"}, {Kind: lint.Standard, Document: "DIN 931"}, {Kind: lint.Standard, Document: "EN 1665"}, {Kind: lint.Standard, Document: "EN 1662"}, {Kind: lint.Standard, Document: "ISO 4162", Edition: "2012"}, {Kind: lint.Standard, Document: "ASME B18.2"}, {Kind: lint.Practice, Note: "wheels"}},
	Protects:  lint.Joint,
	Edition:   "2026-12",
	AppliesTo: lint.FastenerWhere(func(f *specdata.Fastener) bool { return f.Thread != nil }),
	Record:    check,
}

func check(p *lint.Pass) {
	f := p.Fastener()
	switch f.Joint {
	case specdata.JointPlug, specdata.JointUnion, specdata.JointBanjo, specdata.JointSensor, specdata.JointPlastic, specdata.JointSpark, specdata.JointGlow, specdata.JointStud:
		return // their hexagons follow the part, not the thread
	}
	t, err := joint.ParseThread(f.Thread.Designation)
	if err != nil {
		p.NotChecked("/thread/designation", err.Error())
		return
	}
	if f.Joint != specdata.JointTaper { // screws that seal by a cone have heads of their own
		side(p, f, t, "/drive/head", f.Drive.Head)
	}
	side(p, f, t, "/drive/nut", f.Drive.Nut)
}

func side(p *lint.Pass, f *specdata.Fastener, t joint.Thread, at, drive string) {
	form, af := joint.SplitDrive(drive)
	// Inches on a metric thread and the reverse are for inch-size-on-metric-thread.
	if form != "hex" || af == 0 || strings.HasSuffix(drive, " in") == t.Metric() {
		return
	}
	fit := joint.FitHex(t, af, f.Joint == specdata.JointWheel)
	std := fit.Nearest.Standard
	switch {
	case fit.Steps < 0:
		p.NotChecked(at, "no table here has a hexagon for "+t.Size())
		return
	case f.Drive.Special:
		turned := at == "/drive/"+f.Drive.Turn
		if turned && fit.Steps == 0 && (std == joint.ISO4014 || std == joint.ASMEB18) {
			p.Report(lint.Problem{At: "/drive/special", Severity: lint.Advice, Message: fmt.Sprintf("drive %s is called special but is the standard size of %s (%s); remove special, or check the size", drive, t.Size(), std)})
		}
		return
	case fit.Steps == 0:
		return
	}
	pr := lint.Problem{At: at, Message: fmt.Sprintf("drive %s is not a hexagon of %s, which has %s; it may belong to another bolt: check the size and the thread, or mark it special: true", drive, t.Size(), sizes(t, f.Joint == specdata.JointWheel))}
	switch {
	case f.Joint == specdata.JointBearing || f.Joint == specdata.JointJam || f.Joint == specdata.JointTaper:
		pr.Severity = lint.Advice // collar nuts and thin nuts are often special
	case fit.Steps == 1:
		pr.Severity = lint.Warning
	}
	p.Report(pr)
}

func sizes(t joint.Thread, wheel bool) string {
	var out []string
	for _, h := range joint.Sockets(t, wheel) {
		size := fmt.Sprintf("%.4g mm", 1e3*h.AcrossFlats)
		if !t.Metric() {
			size = fmt.Sprintf("%.5g in", h.AcrossFlats/0.0254)
		}
		out = append(out, size+" ("+h.Standard.String()+")")
	}
	return strings.Join(out, ", ")
}
