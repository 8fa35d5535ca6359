package main

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/pflag"

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
	lo := lint.Options{Rules: run.Rules, Library: mem, Date: o.date, Time: o.time, Unread: maps.Clone(mem.Unread())}
	var outside []*library.Entry
	var left []specdata.Finding // of files that the run does not look at
	for _, l := range t.loose {
		doc, fs := document.Read(l.name, l.data)
		findings = append(findings, fs...)
		if doc != nil {
			outside = append(outside, library.NewEntry(doc))
		} else if name, ok := nameOf(l.name); ok {
			if lo.Unread == nil {
				lo.Unread = map[specdata.Name]string{}
			}
			lo.Unread[name] = l.name
		}
	}
	if t.loose != nil {
		lo.Library, lo.Old = library.Overlay(mem, outside...), mem
	}
	if !t.whole() {
		lo.Only = t.names(mem, outside)
		findings, left = restrict(findings, t.has)
	}
	if o.since != nil {
		old, changed, err := o.since.before(ctx, e, t.folder, mem)
		if err != nil {
			return nil, err
		}
		lo.Old = old
		if !o.since.everything {
			lo.Only = lint.AffectedBy(mem, old, changed)
			var more []specdata.Finding
			findings, more = restrict(findings, o.since.has)
			left = append(left, more...)
		}
	}
	run.Report, err = lint.Run(ctx, lo)
	if err != nil {
		return nil, err
	}
	findings = append(findings, t.todos(lo.Only, findings)...)
	findings = append(findings, needed(e, append(slices.Clone(findings), left...), left, run.Report.Unread)...)
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
	// What cannot be read or found comes first: other findings may rest on it.
	read, rest := []specdata.Finding{}, []specdata.Finding{}
	for _, f := range all {
		if ofReading[f.Rule] {
			read = append(read, f)
		} else {
			rest = append(rest, f)
		}
	}
	run.Report.Findings = append(read, rest...)
	return run, nil
}

// ofReading holds what the readers of documents and folders report, and what leads nowhere.
var ofReading = map[string]bool{
	document.RuleSyntax: true, document.RuleSchema: true, document.RuleDuplicateKey: true, document.RuleExactScalar: true,
	document.RuleLimits: true, document.RulePlainYAML: true, document.RuleNameDisagrees: true,
	library.RuleStrayFile: true, library.RuleDuplicateRecord: true,
	lint.RuleUnresolved: true,
}

// todos reports the todo comments of the files that a run looks at, except where the
// readers named them already, at a key without a value; only restricts it to records,
// nil for all.
func (t *target) todos(only []specdata.Name, said []specdata.Finding) []specdata.Finding {
	named := map[specdata.Position]bool{}
	for _, f := range said {
		named[specdata.Position{File: f.File, Line: f.Line}] = true
	}
	t.folder.mu.Lock()
	defer t.folder.mu.Unlock()
	var out []specdata.Finding
	for file, r := range t.folder.read {
		if !t.has(file) || r.doc != nil && only != nil && !slices.Contains(only, r.doc.Record.Name()) {
			continue
		}
		comments, record := r.comments, specdata.Name("")
		if r.doc != nil {
			comments, record = r.doc.Comments(), r.doc.Record.Name()
		} else if name, ok := nameOf(file); ok {
			record = name
		}
		for _, c := range comments {
			what, ok := c.Todo()
			if !ok || named[specdata.Position{File: file, Line: c.Line}] {
				continue
			}
			f := specdata.Finding{
				Rule: lint.RuleTodoLeft, Severity: specdata.Warning, Record: record,
				Position: specdata.Position{File: file, Line: c.Line, Column: 1}, Value: specdata.Shorten(c.Text),
				Message: fmt.Sprintf("still to do: %s; do it, then take the comment out", specdata.Shorten(what)),
			}
			f.Identify(fmt.Sprintf("#%d", c.Line))
			out = append(out, f)
		}
	}
	return out
}

// nameOf returns the record that a file is for by its path, ok where it is like
// <collection>/<id>.yaml.
func nameOf(file string) (name specdata.Name, ok bool) {
	dir, base := filepath.Split(filepath.ToSlash(file))
	name, err := specdata.ParseName(path.Base(dir) + "/" + strings.TrimSuffix(base, path.Ext(base)))
	return name, err == nil
}

// allowEmptyFlag lets a library without records pass, which otherwise is a mistake:
// a check in the wrong folder would be green for ever.
func allowEmptyFlag(fs *pflag.FlagSet) *bool {
	return fs.Bool("allow-empty", false, "take a library without records for a good one")
}

func emptyError(where string) error {
	return usagef("%s holds no record, so nothing was checked; records lie in %s; --allow-empty lets it pass", where, collections())
}

// empty reports whether a run that was not asked for changes only looked at nothing.
func empty(run *render.Run, o checkOptions) bool {
	return o.since == nil && run.Report.Records == 0 && len(run.Report.Findings)+len(run.Known) == 0
}

// names returns the records of the target's files and those that lie outside.
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

// restrict divides findings into those of the files a run looks at and the others.
func restrict(findings []specdata.Finding, has func(file string) bool) (kept, left []specdata.Finding) {
	for _, f := range findings {
		if has(f.File) {
			kept = append(kept, f)
		} else {
			left = append(left, f)
		}
	}
	return kept, left
}

// needed returns the findings of files that a run does not look at, but whose
// records its rules asked for: what it judged rests on them. That there are others
// is said.
func needed(e *env, all, left []specdata.Finding, unread []lint.Unread) []specdata.Finding {
	kept, others := restrict(left, func(file string) bool {
		return slices.ContainsFunc(unread, func(u lint.Unread) bool { return u.File == file })
	})
	for i := range unread {
		of := func(f specdata.Finding) bool { return f.File == unread[i].File }
		if named := func(f specdata.Finding) bool { return of(f) && f.Rule != document.RuleNameDisagrees }; slices.ContainsFunc(all, of) && !slices.ContainsFunc(all, named) {
			unread[i].Why = "and the record in it do not agree about its name"
		}
	}
	files := map[string]bool{}
	for _, f := range others {
		files[f.File] = true
	}
	if len(files) > 0 {
		fmt.Fprintf(e.stderr, "proofload: %s of the library cannot be read, and nothing checked here rests on it; lint the whole library to see why\n", count(len(files), "other file", "other files"))
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

// text returns the text of a file that positions name.
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
