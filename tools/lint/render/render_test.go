package render_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v5"

	"proofload/specdata"
	"proofload/tools/lint"
	"proofload/tools/lint/render"
)

var update = flag.Bool("update", false, "write the golden files")

const bolt = `kind: fastener
id: bolt
title: Bolt
applies_to: [{vehicle: v, side: each}]
place: wheel
count: 5
joint: wheel
drive: {turn: head, head: hex 17 mm}
tightening:
  stages: [{torque: 110 N.m, also: 18 lbf.ft}]
  state: on-ground
  drag: not-applicable
  impact: removal-only
reuse: {rule: reuse}
`

// sample is a run with one finding of every sort.
func sample() *render.Run {
	rule := func(name, title string, sev specdata.Severity) *lint.Rule {
		return &lint.Rule{
			Name: name, Title: title, Severity: sev, Cites: []lint.Citation{{Kind: lint.Standard, Document: "invented"}}, Protects: lint.Joint, Edition: "2026-12",
			Doc: "## What\nThe value is *off*.\n\n## Why\nIt hurts.\n\n## How to mend\nRead it again.\n\n## When to waive\nNever.\n\n## Source\nInvented.\n",
		}
	}
	at := func(file string, line, column int) specdata.Position {
		return specdata.Position{File: file, Line: line, Column: column}
	}
	findings := []specdata.Finding{
		{
			Rule: "syntax", Severity: specdata.Error, Position: at("fasteners/half written.yaml", 3, 1),
			Message: "mapping [key](x) has no value; write one after the colon",
		},
		{
			Rule: "pair-disagrees", Severity: specdata.Error, Record: "fasteners/bolt", Pointer: "/tightening/stages/0/also",
			Position: at("fasteners/bolt.yaml", 10, 35), Value: "18 lbf.ft",
			Message:    "also 18 lbf·ft is 24 N·m, but the torque is 110 N·m; right would be 81 lbf·ft; correct the digits",
			Arithmetic: []string{"18 lbf·ft × 1.355818 = 24.4 N·m", "24.4 / 110 = 0.22"},
			Related: []specdata.Related{
				{Record: "sources/sheet", Pointer: "/title", Position: at("sources/sheet.yaml", 3, 8), Message: "the sheet prints both"},
				{Record: "vehicles/v", Message: "for this vehicle"},
			},
			Fix: []specdata.Change{{Op: "replace", Path: "/tightening/stages/0/also", Value: "81 lbf.ft"}},
		},
		{
			Rule: "pair-disagrees", Severity: specdata.Warning, Record: "fasteners/nut", Pointer: "/tightening", Value: "x",
			Message: "accepted", Waived: "the maker prints it like this",
		},
		{
			Rule: "title-odd", Severity: specdata.Advice, Record: "sources/evil", Pointer: "/title",
			Message: "title \x1b[31m\u202eevil\nsecond line is odd", Value: "\x1b[31m\u202eevil\nsecond line",
			Fix: []specdata.Change{{Op: "remove", Path: "/note"}, {Op: "add", Path: "/edition", Value: "2"}},
		},
	}
	known := []specdata.Finding{{Rule: "title-odd", Severity: specdata.Advice, Record: "sources/old", Pointer: "/title", Message: "title is odd", Value: "old"}}
	for i := range findings {
		findings[i].Identify(findings[i].Pointer)
	}
	for i := range known {
		known[i].Identify(known[i].Pointer)
	}
	return &render.Run{
		Version: "1.2.3",
		Rules:   []*lint.Rule{rule("pair-disagrees", "printed pair disagrees", specdata.Error), rule("silent-rule", "never seen", specdata.Warning), rule("title-odd", "title is odd", specdata.Advice)},
		Report: &lint.Report{
			Findings: findings, Records: 7, Applied: map[string]int{"pair-disagrees": 3, "silent-rule": 7, "title-odd": 7},
			NotChecked: []specdata.NotChecked{{Rule: "pair-disagrees", Record: "fasteners/nut", Pointer: "/strength", Why: "no strength class"}},
		},
		Known: known,
		Text: func(file string) []byte {
			if file == "fasteners/bolt.yaml" {
				return []byte(bolt)
			}
			return nil
		},
	}
}

// clean is a run without findings.
func clean() *render.Run {
	r := sample()
	r.Report.Findings, r.Report.NotChecked, r.Known = nil, nil, nil
	return r
}

func TestGolden(t *testing.T) {
	tests := []struct {
		file  string
		write func(io.Writer, *render.Run) error
	}{
		{"report.txt", func(w io.Writer, r *render.Run) error { return render.Text(w, r, render.TextOptions{}) }},
		{"report.color.txt", func(w io.Writer, r *render.Run) error {
			return render.Text(w, r, render.TextOptions{Color: true, NotChecked: true})
		}},
		{"report.json", render.JSON},
		{"report.sarif", render.SARIF},
		{"report.xml", func(w io.Writer, r *render.Run) error { return render.JUnit(w, r, specdata.Warning) }},
	}
	for _, tt := range tests {
		for prefix, run := range map[string]*render.Run{"": sample(), "clean.": clean()} {
			t.Run(prefix+tt.file, func(t *testing.T) {
				var got bytes.Buffer
				if err := tt.write(&got, run); err != nil {
					t.Fatal(err)
				}
				golden(t, prefix+tt.file, got.Bytes())
			})
		}
	}
}

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(file, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("output differs from %s; if it is right run: go test ./tools/lint/render -update\n%s", file, got)
	}
}

// TestSARIFIsValid holds what SARIF writes against the schema of the standard:
// testdata/sarif-schema-2.1.0.json, OASIS SARIF 2.1.0 errata 01, taken unchanged from
// the testdata of github.com/securego/gosec v2.30.0.
func TestSARIFIsValid(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "sarif-schema-2.1.0.json"))
	if err != nil {
		t.Fatal(err)
	}
	schema := compile(t, text)
	for name, run := range map[string]*render.Run{"sample": sample(), "clean": clean()} {
		validate(t, schema, name, func(w io.Writer) error { return render.SARIF(w, run) })
	}
	if err := schema.Validate(map[string]any{"version": "2.1.0", "runs": []any{map[string]any{"results": []any{}}}}); err == nil {
		t.Error("schema accepts a run without a tool; it does not check what it should")
	}
}

func TestJSONIsValid(t *testing.T) {
	text, err := os.ReadFile("report.schema.json")
	if err != nil {
		t.Fatal(err)
	}
	schema := compile(t, text)
	for name, run := range map[string]*render.Run{"sample": sample(), "clean": clean()} {
		validate(t, schema, name, func(w io.Writer) error { return render.JSON(w, run) })
	}
	spoiled := sample()
	spoiled.Report.Findings[1].Severity = "fatal"
	var b bytes.Buffer
	if err := render.JSON(&b, spoiled); err != nil {
		t.Fatal(err)
	}
	if err := schema.Validate(decode(t, b.Bytes())); err == nil {
		t.Error("schema accepts severity fatal; it does not check what it should")
	}
}

func compile(t *testing.T, text []byte) *jsonschema.Schema {
	t.Helper()
	c := jsonschema.NewCompiler()
	c.LoadURL = func(string) (io.ReadCloser, error) { return nil, errors.New("the schema refers outside itself") }
	if err := c.AddResource("schema.json", bytes.NewReader(text)); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func decode(t *testing.T, b []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(b, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func validate(t *testing.T, s *jsonschema.Schema, name string, write func(io.Writer) error) {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	if err := s.Validate(decode(t, b.Bytes())); err != nil {
		t.Errorf("%s is not valid: %v", name, err)
	}
}

// TestTextKeepsTheTerminal: what a document says cannot steer the terminal.
func TestTextKeepsTheTerminal(t *testing.T) {
	var b bytes.Buffer
	if err := render.Text(&b, sample(), render.TextOptions{NotChecked: true}); err != nil {
		t.Fatal(err)
	}
	if strings.ContainsAny(b.String(), "\x1b\u202e\r") {
		t.Errorf("text holds control characters of a document: %q", b.String())
	}
}

// TestJUnitCounts reads the XML back and counts by itself.
func TestJUnitCounts(t *testing.T) {
	var b bytes.Buffer
	if err := render.JUnit(&b, sample(), specdata.Error); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Tests    int `xml:"tests,attr"`
		Failures int `xml:"failures,attr"`
		Skipped  int `xml:"skipped,attr"`
		Suites   []struct {
			Cases []struct {
				Failure *struct{} `xml:"failure"`
				Skipped *struct{} `xml:"skipped"`
			} `xml:"testcase"`
		} `xml:"testsuite"`
	}
	if err := xml.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	tests, failures, skipped := 0, 0, 0
	for _, s := range doc.Suites {
		for _, c := range s.Cases {
			tests++
			if c.Failure != nil {
				failures++
			}
			if c.Skipped != nil {
				skipped++
			}
		}
	}
	if tests != doc.Tests || failures != doc.Failures || skipped != doc.Skipped {
		t.Errorf("attributes say %d/%d/%d, the elements %d/%d/%d", doc.Tests, doc.Failures, doc.Skipped, tests, failures, skipped)
	}
	if failures != 2 || skipped != 1 {
		t.Errorf("%d failures, %d skipped; want 2 errors and 1 waived", failures, skipped)
	}
}
