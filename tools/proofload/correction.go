package main

import (
	"fmt"
	"io"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	pb "proofload/api/proofload/v1"
	"proofload/specdata/narration"
	"proofload/tools/lint/render"
)

// page writes lines of what a server says, none of which may steer the terminal.
type page struct {
	w   io.Writer
	err error
}

func (p *page) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintln(p.w, render.Clean(fmt.Sprintf(format, args...)))
	}
}

// forWhom says what a record or a job holds for.
func (p *page) forWhom(f *pb.ForWhom) {
	p.line("  FOR %s", f.GetText())
	p.line("  NOT FOR %s", f.GetNotText())
}

// writeLine shows a correction in one line of a listing.
func writeLine(w io.Writer, c *pb.Correction) error {
	p := page{w: w}
	what := "nothing"
	if len(c.Records) > 0 {
		what = inShort(c.Records[0])
		if more := len(c.Records) - 1; more > 0 {
			what += fmt.Sprintf(", and %s", count(more, "record more", "records more"))
		}
	}
	blocked := ""
	if n := c.GetFindings().GetBlocking(); n > 0 && c.State == "open" {
		blocked = fmt.Sprintf(", %d blocking", n)
	}
	p.line("%s  %s%s  %s  %s", strings.TrimPrefix(c.Name, "corrections/"), c.State, blocked, strings.Join(c.Authors, ", "), what)
	return p.err
}

func inShort(r *pb.CorrectedRecord) string {
	switch {
	case r.Withdraw:
		return r.Record + ": withdrawn"
	case len(r.Fields) == 0:
		return r.Record + ": new"
	}
	// The torque is what people look for.
	shown := r.Fields[0]
	for _, f := range r.Fields {
		if strings.HasSuffix(f.Pointer, "/torque") {
			shown = f
			break
		}
	}
	text := r.Record + ": " + shown.Text
	if more := len(r.Fields) - 1; more > 0 {
		text += fmt.Sprintf(", and %s", count(more, "field more", "fields more"))
	}
	return text
}

// writeCorrection shows a correction in shop words.
func writeCorrection(w io.Writer, c *pb.Correction, reach *pb.CorrectionReach) error {
	p := page{w: w}
	p.head(c)
	p.line("  why       %s", c.Reason)
	for _, e := range c.Evidence {
		p.line("  rests on  %s", e)
	}
	p.line("  by        %s", strings.Join(c.Authors, ", "))
	for _, d := range c.Decisions {
		word := "rejected"
		if d.Approved {
			word = "approved"
		}
		p.line("  %s  by %s%s", word, d.By, said(d.Comment))
	}
	for _, x := range c.Signatures {
		p.line("  signed    by %s with a key of their own, %s", x.By, date(x.SignTime))
	}
	if e := c.End; e != nil {
		p.line("  ended     by %s, %s%s", e.By, date(e.EndTime), said(e.Comment))
	}
	p.line("  content   %s", c.ContentHash)
	for _, r := range c.Records {
		p.line("")
		p.record(r)
	}
	p.line("")
	p.findings(c.GetFindings())
	if reach != nil {
		p.line("")
		p.reach(reach, c.State == "published")
	}
	return p.err
}

// writeOutcome shows what a decision came to, and whom a publication concerns; what
// was decided on has been seen before.
func writeOutcome(w io.Writer, c *pb.Correction) error {
	p := page{w: w}
	p.head(c)
	for _, r := range c.Records {
		p.line("  %s", inShort(r))
	}
	if c.Reach != nil {
		p.line("")
		p.reach(c.Reach, true)
	}
	return p.err
}

func (p *page) head(c *pb.Correction) {
	switch {
	case c.Name == "":
		p.line("this correction would be %s", c.State)
	case c.Position != 0:
		p.line("%s is %s at position %d", c.Name, c.State, c.Position)
	default:
		p.line("%s is %s", c.Name, c.State)
	}
}

func said(comment string) string {
	if comment == "" {
		return ""
	}
	return ": " + comment
}

func date(t *timestamppb.Timestamp) string { return t.AsTime().UTC().Format(time.DateOnly) }

func (p *page) record(r *pb.CorrectedRecord) {
	switch {
	case r.Withdraw:
		p.line("%s is withdrawn (from revision %d)", r.Record, r.BaseRevision)
	case r.BaseRevision == 0:
		p.line("%s is new", r.Record)
	default:
		p.line("%s (from revision %d)", r.Record, r.BaseRevision)
	}
	if f := r.GetForWhom(); f != nil {
		p.forWhom(f)
	}
	for _, f := range r.Fields {
		p.line("  %s", f.Text)
	}
}

func (p *page) findings(f *pb.CorrectionFindings) {
	p.line("findings: %d new, %d mended, %d unchanged; %d block publishing", len(f.GetNew()), len(f.GetMended()), len(f.GetUnchanged()), f.GetBlocking())
	for _, part := range []struct {
		name string
		list []*pb.Finding
	}{{"new", f.GetNew()}, {"mended", f.GetMended()}, {"unchanged", f.GetUnchanged()}} {
		for _, x := range part.list {
			waived := ""
			if x.Waived != "" {
				waived = " (waived: " + x.Waived + ")"
			}
			p.line("  %s %s: %s: %s [%s]%s", part.name, x.Severity, strings.TrimSpace(x.Record+" "+x.Pointer), x.Message, x.Rule, waived)
			for _, a := range x.Arithmetic {
				p.line("      %s", a)
			}
		}
	}
	for _, n := range f.GetNotChecked() {
		p.line("  not checked: %s: %s [%s]", strings.TrimSpace(n.Record+" "+n.Pointer), n.Why, n.Rule)
	}
}

func (p *page) reach(r *pb.CorrectionReach, done bool) {
	word := "Would affect"
	if done {
		word = "Affects"
	}
	p.line("%s %s, %s, %s, %s, %s", word, count(len(r.Procedures)+int(r.ProceduresLeftOut), "procedure", "procedures"), count(len(r.Releases)+int(r.ReleasesLeftOut), "release", "releases"),
		count(len(r.Sheets)+int(r.SheetsLeftOut), "printed sheet", "printed sheets"), count(len(r.Narrations)+int(r.NarrationsLeftOut), "narration", "narrations"), count(len(r.Readers)+int(r.ReadersLeftOut), "reader", "readers"))
	for _, m := range r.Records {
		p.line("  %d. %s%s", m.Rank, m.Record, said(m.Why))
	}
	for _, x := range r.Procedures {
		p.line("  procedure %s (%s)", x.Title, x.Procedure)
	}
	for _, x := range r.Releases {
		p.line("  release %s", x)
	}
	for _, x := range r.Sheets {
		by := ""
		if x.PrintedBy != "" {
			by = " by " + x.PrintedBy
		}
		p.line("  sheet %s of %s, printed on %s%s", x.Code, x.Procedure, date(x.PrintTime), by)
	}
	for _, x := range r.Narrations {
		p.line("  narration %s, %s, says", x.Reference, x.Procedure)
		for _, v := range x.Values {
			p.line("    at %s: \"%s\" of %s", narration.Clock(v.StartSeconds), v.Said, v.Fastener)
		}
	}
	for _, x := range r.Readers {
		p.line("  %s read %s, last on %s", x.Token, strings.Join(x.Records, ", "), date(x.LastReadTime))
	}
	if n := leftOut(r); n > 0 {
		p.line("  %d more are not listed here; proofload correct show lists all", n)
	}
}
