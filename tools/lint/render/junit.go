package render

import (
	"encoding/xml"
	"fmt"
	"io"
	"strings"

	"proofload/specdata"
)

// The subset of the JUnit XML form that continuous integration servers read
// (there is no standard; common practice).
type (
	junitSuites struct {
		XMLName  xml.Name     `xml:"testsuites"`
		Name     string       `xml:"name,attr"`
		Tests    int          `xml:"tests,attr"`
		Failures int          `xml:"failures,attr"`
		Skipped  int          `xml:"skipped,attr"`
		Suites   []junitSuite `xml:"testsuite"`
	}
	junitSuite struct {
		Name     string      `xml:"name,attr"`
		Tests    int         `xml:"tests,attr"`
		Failures int         `xml:"failures,attr"`
		Skipped  int         `xml:"skipped,attr"`
		Cases    []junitCase `xml:"testcase"`
	}
	junitCase struct {
		Class   string        `xml:"classname,attr"`
		Name    string        `xml:"name,attr"`
		File    string        `xml:"file,attr,omitempty"`
		Line    int           `xml:"line,attr,omitempty"`
		Failure *junitMessage `xml:"failure"`
		Skipped *junitMessage `xml:"skipped"`
		Output  string        `xml:"system-out,omitempty"`
	}
	junitMessage struct {
		Message string `xml:"message,attr"`
		Type    string `xml:"type,attr,omitempty"`
		Text    string `xml:",chardata"`
	}
)

// JUnit writes the run as JUnit XML: a suite a rule, a case a finding, and one
// passed case for a rule that found nothing. A finding of at least failOn is a
// failure, one below it a passed case with output, a waived one is skipped.
func JUnit(w io.Writer, r *Run, failOn specdata.Severity) error {
	byRule := map[string][]specdata.Finding{}
	for _, f := range r.Report.Findings {
		byRule[f.Rule] = append(byRule[f.Rule], f)
	}
	all := junitSuites{Name: Tool + " " + r.Version}
	for _, rule := range r.described() {
		s := junitSuite{Name: rule.Name}
		for _, f := range byRule[rule.Name] {
			s.add(f, failOn)
		}
		if s.Cases == nil {
			s.Cases = []junitCase{{Class: rule.Name, Name: fmt.Sprintf("%d records", r.Report.Applied[rule.Name])}}
		}
		s.Tests = len(s.Cases)
		all.Tests += s.Tests
		all.Failures += s.Failures
		all.Skipped += s.Skipped
		all.Suites = append(all.Suites, s)
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return err
	}
	enc := xml.NewEncoder(w)
	enc.Indent("", "  ")
	if err := enc.Encode(all); err != nil {
		return err
	}
	_, err := io.WriteString(w, "\n")
	return err
}

func (s *junitSuite) add(f specdata.Finding, failOn specdata.Severity) {
	c := junitCase{Class: f.Rule, Name: place(specdata.Position{}, f.Record, f.Pointer), File: f.File, Line: f.Line}
	if f.Record == "" {
		c.Name = place(f.Position, "", "")
	}
	text := details(f)
	switch {
	case f.Waived != "":
		s.Skipped++
		c.Skipped = &junitMessage{Message: "waived: " + f.Waived}
	case f.Severity.Rank() >= failOn.Rank():
		s.Failures++
		c.Failure = &junitMessage{Message: f.Message, Type: string(f.Severity), Text: text}
	default:
		c.Output = text
	}
	s.Cases = append(s.Cases, c)
}

// details returns a finding in plain text as Text would, without colours.
func details(f specdata.Finding) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %s: %s", place(f.Position, f.Record, f.Pointer), f.Severity, f.Message)
	for _, a := range f.Arithmetic {
		b.WriteString("\n    " + a)
	}
	for _, rel := range f.Related {
		fmt.Fprintf(&b, "\n    %s: %s", place(rel.Position, rel.Record, rel.Pointer), rel.Message)
	}
	return b.String()
}
