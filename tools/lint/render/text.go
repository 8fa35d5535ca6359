package render

import (
	"bufio"
	"fmt"
	"io"
	"strings"
	"unicode"

	"proofload/specdata"
	"proofload/tools/lint"
)

// TextOptions says how text is laid out.
type TextOptions struct {
	// Color writes ANSI colours.
	Color bool
	// NotChecked lists what could not be judged; otherwise it is only counted.
	NotChecked bool
	// Why prints the arithmetic of every finding; otherwise only that of errors.
	Why bool
}

// Text writes the run for people: a finding a line, related places and fix
// indented below it, with the arithmetic of errors, and a line that sums up. Waived findings are counted,
// not listed.
func Text(w io.Writer, r *Run, o TextOptions) error {
	t := &textWriter{w: bufio.NewWriter(w), color: o.Color, why: o.Why}
	for _, f := range r.Report.Findings {
		if f.Waived == "" {
			t.finding(f)
		}
	}
	if o.NotChecked {
		for _, n := range r.Report.NotChecked {
			t.line("%s: not checked: %s %s", t.paint(bold, place(specdata.Position{}, n.Record, n.Pointer)), Clean(n.Why), t.paint(dim, "["+n.Rule+"]"))
		}
	}
	for _, u := range r.Report.Unread {
		what := u.File
		if what == "" {
			what = string(u.Record)
		}
		t.line("%s %s, so %s left out; mend it first", t.paint(bold, what), u.Why, leftOut(u))
	}
	t.line("%s", Summary(r, o.NotChecked))
	return t.w.Flush()
}

// leftOut says what a record that nothing can rest on kept from being judged.
func leftOut(u lint.Unread) string {
	checks, records := "1 check", "1 record"
	if u.Records != 1 {
		records = fmt.Sprintf("%d records", u.Records)
	}
	if u.Checks == 1 {
		return checks + " of " + records + " was"
	}
	return fmt.Sprintf("%d checks of %s were", u.Checks, records)
}

// Summary sums a run up in one line without a newline.
func Summary(r *Run, listed bool) string {
	c := r.Counts()
	var parts []string
	add := func(n int, one, many string) {
		switch {
		case n == 1:
			parts = append(parts, "1 "+one)
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d %s", n, many))
		}
	}
	add(c.Error, "error", "errors")
	add(c.Warning, "warning", "warnings")
	add(c.Advice, "piece of advice", "pieces of advice")
	if parts == nil {
		parts = append(parts, "no findings")
	}
	add(c.Waived, "waived", "waived")
	add(c.Baseline, "known from the baseline", "known from the baseline")
	records := "1 record"
	if c.Records != 1 {
		records = fmt.Sprintf("%d records", c.Records)
	}
	s := records + ": " + strings.Join(parts, ", ")
	switch {
	case c.NotChecked == 0:
	case listed:
		s += fmt.Sprintf("; not checked: %d", c.NotChecked)
	default:
		s += fmt.Sprintf("; not checked: %d (--not-checked lists them)", c.NotChecked)
	}
	return s
}

// The colours, as the parameters of an ANSI SGR sequence (ECMA-48, 8.3.117).
const (
	bold   = "1"
	dim    = "2"
	red    = "1;31"
	yellow = "1;33"
	cyan   = "1;36"
)

type textWriter struct {
	w     *bufio.Writer
	color bool
	why   bool
}

func (t *textWriter) paint(style, s string) string {
	if !t.color {
		return s
	}
	return "\x1b[" + style + "m" + s + "\x1b[0m"
}

func (t *textWriter) line(format string, args ...any) {
	fmt.Fprintf(t.w, format+"\n", args...)
}

func (t *textWriter) finding(f specdata.Finding) {
	style := map[specdata.Severity]string{specdata.Error: red, specdata.Warning: yellow, specdata.Advice: cyan}[f.Severity]
	t.line("%s: %s: %s %s", t.paint(bold, place(f.Position, f.Record, f.Pointer)), t.paint(style, string(f.Severity)), Clean(f.Message), t.paint(dim, "["+f.Rule+"]"))
	if t.why || f.Severity == specdata.Error {
		for _, a := range f.Arithmetic {
			t.line("    %s", Clean(a))
		}
	}
	for _, rel := range f.Related {
		t.line("    %s: %s", place(rel.Position, rel.Record, rel.Pointer), Clean(rel.Message))
	}
	for _, c := range f.Fix {
		t.line("    fix: %s", Clean(change(c)))
	}
}

// change returns one operation of a fix in words.
func change(c specdata.Change) string {
	switch c.Op {
	case "remove":
		return "remove " + c.Path
	case "add":
		return fmt.Sprintf("add %s: %q", c.Path, c.Value)
	}
	return fmt.Sprintf("set %s to %q", c.Path, c.Value)
}

// place returns file, line and column where there is a file, else the record and pointer.
func place(p specdata.Position, record specdata.Name, pointer string) string {
	switch {
	case p.File != "" && p.Line > 0:
		return Clean(fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column))
	case p.File != "":
		return Clean(p.File)
	case record == "":
		return "document"
	case pointer == "":
		return Clean(string(record))
	}
	return Clean(string(record) + " " + pointer)
}

// Clean keeps what a document says from steering the terminal: control characters
// and those that turn the direction of text become a replacement character, line
// breaks a space.
func Clean(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r' || r == '\t':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r), r == '\u2028', r == '\u2029':
			return unicode.ReplacementChar
		}
		return r
	}, s)
}
