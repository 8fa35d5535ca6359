package narration

import (
	"fmt"
	"math"
	"strings"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/specdata/wording"
)

// Callouts returns a WebVTT track that shows each value of a narration in big digits
// while it is said: the record's value, both units, whatever was said.
func Callouts(c *Checked, l library.Library) string {
	var b strings.Builder
	b.WriteString("WEBVTT\n\nSTYLE\n::cue(.value) {\n  font-size: 200%;\n  font-weight: bold;\n}\n")
	end := 0.0
	for i, v := range c.Values {
		f := library.Fastener(l, v.Fastener.ID())
		if f == nil || f.Tightening == nil || v.Stage < 1 || v.Stage > len(f.Tightening.Stages) {
			continue
		}
		if i > 0 && c.Values[i-1].Fastener == v.Fastener && c.Values[i-1].Stage == v.Stage && v.Start < end+8 {
			continue // the same value in the other unit
		}
		start := math.Max(v.Start, end)
		end = math.Max(start+4, v.End)
		if i+1 < len(c.Values) {
			for _, next := range c.Values[i+1:] {
				if next.Start > start && (next.Fastener != v.Fastener || next.Stage != v.Stage) {
					end = math.Min(end, next.Start)
					break
				}
			}
		}
		if end <= start {
			end = start + 0.5
		}
		s := &f.Tightening.Stages[v.Stage-1]
		big, small := specdata.Display(s.Angle), ""
		if !s.Torque.IsZero() {
			big, small, _ = strings.Cut(wording.Torque(s.Torque, s.UpTo), " (")
			small = strings.TrimSuffix(small, ")")
		}
		fmt.Fprintf(&b, "\n%s --> %s line:80%%\n<c.value>%s</c>\n", stamp(start), stamp(end), escape(big))
		if small != "" {
			b.WriteString(escape(small) + "\n")
		}
		b.WriteString(escape(f.Title) + "\n")
	}
	return b.String()
}

// Chapters returns a WebVTT chapters track: the steps at the times when they are said.
func Chapters(c *Checked, p *specdata.Procedure) string {
	var b strings.Builder
	b.WriteString("WEBVTT\n")
	end := 0.0
	for i, s := range c.Steps {
		start := math.Max(s.Start, end)
		stop := s.End
		if i+1 < len(c.Steps) {
			stop = c.Steps[i+1].Start
		}
		if stop <= start {
			stop = start + 0.5
		}
		end = stop
		fmt.Fprintf(&b, "\n%s --> %s\n%s\n", stamp(start), stamp(stop), escape(chapterTitle(p, s.Step)))
	}
	return b.String()
}

// chapterTitle is a step's sentence up to its first mark, without placeholders.
func chapterTitle(p *specdata.Procedure, id string) string {
	for i := range p.Steps {
		if s := &p.Steps[i]; s.ID == id {
			text := s.Text
			if j := strings.IndexAny(text, ",.;:{"); j > 0 {
				text = text[:j]
			}
			return strings.TrimSuffix(strings.TrimSpace(text), " to")
		}
	}
	return strings.ReplaceAll(id, "-", " ")
}

// stamp is a time of WebVTT.
func stamp(seconds float64) string {
	ms := int(math.Round(seconds * 1000))
	return fmt.Sprintf("%02d:%02d:%02d.%03d", ms/3600000, ms/60000%60, ms/1000%60, ms%1000)
}

func escape(text string) string {
	return strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;").Replace(text)
}
