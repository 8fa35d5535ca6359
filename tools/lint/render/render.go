// Package render writes what a lint run found, as text for people and in the
// formats of machines. Writers are given everything they print: they read no
// clock, no environment and no file, so the same run gives the same bytes.
package render

import (
	"slices"

	"proofload/specdata"
	"proofload/tools/lint"
)

// Tool is the name the formats carry.
const Tool = "proofload"

// Run is a finished lint run.
type Run struct {
	// Version of the program.
	Version string
	// Rules are those that ran, without lint.Builtin.
	Rules []*lint.Rule
	// Report holds the findings that count.
	Report *lint.Report
	// Known are findings that a baseline holds and that therefore do not count.
	Known []specdata.Finding
	// Text returns the text of a file that findings lie in, nil when it is not at
	// hand; it serves the fixes of SARIF.
	Text func(file string) []byte
}

// Edition is the newest edition among the rules of the run.
func (r *Run) Edition() string {
	edition := ""
	for _, rule := range r.Rules {
		edition = max(edition, rule.Edition)
	}
	return edition
}

// Counts sums a run up.
type Counts struct {
	Records int `json:"records"`
	// Error, Warning and Advice count the findings that no waiver accepts.
	Error      int `json:"error"`
	Warning    int `json:"warning"`
	Advice     int `json:"advice"`
	Waived     int `json:"waived"`
	Baseline   int `json:"baseline"`
	NotChecked int `json:"not_checked"`
}

// Counts counts the findings of the run.
func (r *Run) Counts() Counts {
	c := Counts{Records: r.Report.Records, Baseline: len(r.Known), NotChecked: len(r.Report.NotChecked)}
	for _, f := range r.Report.Findings {
		switch {
		case f.Waived != "":
			c.Waived++
		case f.Severity == specdata.Error:
			c.Error++
		case f.Severity == specdata.Warning:
			c.Warning++
		default:
			c.Advice++
		}
	}
	return c
}

// described returns every rule that a reader of the report may ask about: those that
// ran and the built-in ones that speak in it.
func (r *Run) described() []*lint.Rule {
	spoke := map[string]bool{}
	for _, f := range slices.Concat(r.Report.Findings, r.Known) {
		spoke[f.Rule] = true
	}
	rules := slices.Clone(r.Rules)
	for _, b := range lint.Builtin() {
		if spoke[b.Name] {
			rules = append(rules, b)
		}
	}
	return rules
}
