// Package check is the shape of what judges records. The judge itself is injected
// by the main, so that the rules that gate a correction are the rules the editor ran.
package check

import (
	"context"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Func judges records of a library. Only names the records to judge, nil means
// all; old is the library before the change, for rules that compare, nil for none.
type Func func(ctx context.Context, lib library.Library, only []specdata.Name, old library.Library) (*Report, error)

// Affected lists the records of a library whose findings a change of some records
// may alter. Now is the library as it would become, old as it is. The list is never
// nil, which would mean all records.
type Affected func(now, old library.Library, changed []specdata.Name) []specdata.Name

// Report is what was found.
type Report struct {
	Findings   []specdata.Finding
	NotChecked []specdata.NotChecked
}

// Blocking returns the findings that block publishing: errors that no waiver accepts.
func (r *Report) Blocking() []specdata.Finding {
	var out []specdata.Finding
	for _, f := range r.Findings {
		if f.Severity == specdata.Error && f.Waived == "" {
			out = append(out, f)
		}
	}
	return out
}

// Rule describes one of the rules that a Func judges by.
type Rule struct {
	Name, Title string
	Severity    specdata.Severity
	Source      string
	Edition     string
	Kinds       []specdata.Kind
	// Compares says that it judges a record against the revision it replaces.
	Compares bool
	NoWaiver bool
	// Doc is Markdown.
	Doc string
}
