package main

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/baseline"
	"proofload/tools/lint/render"
	"proofload/tools/lint/rules"
)

// checkOptions says how a target is checked.
type checkOptions struct {
	date time.Time
	// time asks for the time of each rule.
	time bool
	// since restricts the run to what changed from a revision on; nil means it does not.
	since *since
	// known holds the findings of the baseline file; nil means there is none.
	known     *baseline.Baseline
	knownFile string
}

// check reads a target and runs the rules over it.
func check(ctx context.Context, e *env, t *target, o checkOptions) (*render.Run, error) {
	mem, findings, err := t.folder.load(ctx)
	if err != nil {
		return nil, err
	}
	house, err := t.folder.houseRules()
	if err != nil {
		return nil, err
	}
	run := &render.Run{Version: version(), Rules: slices.Concat(rules.All, house), Text: t.text}
	lo := lint.Options{Rules: run.Rules, Library: mem, Date: o.date, Time: o.time}
	var outside []*library.Entry
	for _, l := range t.loose {
		doc, fs := document.Read(l.name, l.data)
		findings = append(findings, fs...)
		if doc != nil {
			outside = append(outside, library.NewEntry(doc))
		}
	}
	if t.loose != nil {
		lo.Library, lo.Old = library.Overlay(mem, outside...), mem
	}
	if !t.whole() {
		lo.Only = t.names(mem, outside)
		findings = restrict(e, findings, t.has)
	}
	if o.since != nil {
		old, changed, err := o.since.before(ctx, e, t.folder, mem)
		if err != nil {
			return nil, err
		}
		lo.Old = old
		if !o.since.everything {
			lo.Only = lint.AffectedBy(mem, old, changed)
			findings = restrict(e, findings, o.since.has)
		}
	}
	run.Report, err = lint.Run(ctx, lo)
	if err != nil {
		return nil, err
	}
	for i := range findings {
		if findings[i].Identity == "" {
			findings[i].Identify(findings[i].Pointer)
		}
	}
	all := append(run.Report.Findings, findings...)
	if o.known != nil {
		var stale []baseline.Entry
		all, run.Known, stale = o.known.Split(all)
		if t.whole() && o.since == nil { // a part of a library says nothing about the rest
			all = append(all, staleFindings(o.knownFile, stale)...)
		}
		run.Known = append([]specdata.Finding{}, run.Known...)
	}
	specdata.SortFindings(all)
	run.Report.Findings = all
	return run, nil
}

// names gives the records of the target's files and those that lie outside.
func (t *target) names(mem *library.Memory, outside []*library.Entry) []specdata.Name {
	only := []specdata.Name{}
	for _, k := range specdata.Kinds {
		for entry := range mem.All(k) {
			if t.has(entry.Position("").File) {
				only = append(only, entry.Name())
			}
		}
	}
	for _, entry := range outside {
		only = append(only, entry.Name())
	}
	return only
}

// restrict keeps the findings of the files a run looks at. That others cannot be
// read is said, because the records they would hold are missing from the library.
func restrict(e *env, findings []specdata.Finding, has func(file string) bool) []specdata.Finding {
	var kept []specdata.Finding
	left := map[string]bool{}
	for _, f := range findings {
		if has(f.File) {
			kept = append(kept, f)
		} else {
			left[f.File] = true
		}
	}
	if len(left) > 0 {
		fmt.Fprintf(e.stderr, "proofload: %d other files of the library cannot be read and count as absent; lint the whole library to see why\n", len(left))
	}
	return kept
}

func staleFindings(file string, stale []baseline.Entry) []specdata.Finding {
	var out []specdata.Finding
	for _, s := range stale {
		f := specdata.Finding{
			Rule: lint.RuleStaleBaseline, Severity: specdata.Error, Record: s.Record, Pointer: s.Pointer,
			Position: specdata.Position{File: file, Line: s.Line, Column: 1},
			Message:  fmt.Sprintf("baseline entry of %s at %s%s matches no finding any more; take it out with: proofload baseline prune %s", s.Rule, s.Record, s.Pointer, file),
			Value:    s.Identity,
		}
		f.Identify(f.Pointer)
		out = append(out, f)
	}
	return out
}

// text gives the text of a file that positions name.
func (t *target) text(file string) []byte {
	for _, l := range t.loose {
		if l.name == file {
			return l.data
		}
	}
	if t.folder.fsys == nil {
		return nil
	}
	name := file
	if t.folder.prefix != "" {
		name = strings.TrimPrefix(file, strings.TrimSuffix(t.folder.prefix, "/")+"/")
	}
	data, err := fs.ReadFile(t.folder.fsys, name)
	if err != nil {
		return nil
	}
	return data
}
