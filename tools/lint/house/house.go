// Package house loads the rules that a shop adds to its own library: files in YAML
// with an expression in the Common Expression Language (CEL). A rule file is
//
//	name: house-second-reader            # begins with house-; the file is house-second-reader.yaml
//	title: wheel torque has no second reader
//	severity: warning                    # error, warning or advice; warning when absent
//	applies: {kind: fastener, when: 'has(record.safety) && record.safety == "wheel"'}
//	expression: 'has(record.source.checked_by)'     # true when the record is as it should be
//	at: /source                          # the JSON pointer findings stand at; the record when absent
//	message: 'torque {/tightening/stages/0/torque} has no second reader; have it checked and name the person'
//	why: A wheel that comes off kills.   # for proofload explain, like mend and source
//	mend: Let a second person read the value back from the source.
//	source: our handbook, page 4
//	wrong:                               # records, or as much of them as the rule reads
//	  - {safety: wheel, source: {entered_by: Maud Ibbot}}
//	right:
//	  - {safety: wheel, source: {entered_by: Maud Ibbot, checked_by: Piet Oram}}
//
// Expressions know record (the document), today ("2026-11-25", the day of the run)
// and amount(quantity, unit), which gives a quantity as a number in a unit:
// amount(record.tightening.stages[0].torque, "lbf.ft") > 80.0. Optional fields can
// be asked for with has() or ?. .
//
// The examples are the rule's tests: a file whose wrong examples are not all
// reported, or whose right ones are, does not load. Each evaluation may cost at
// most CostLimit; an expression that would run longer is an error that names it.
package house

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"path"
	"slices"
	"strings"

	"proofload/specdata"
	"proofload/tools/lint"
)

// Prefix begins the name of every house rule, so that it never meets one of ours.
const Prefix = "house-"

// MaxFile is the largest rule file, in bytes.
const MaxFile = 64 << 10

// edition is what house rules carry: they have no editions, so it is the first there is.
const edition = "2026-12"

// Load reads the rules of a folder, one a file, in order of name; a folder that is
// not there has none. prefix is put before file names in errors. An error of a file
// names it with the line; an fs.PathError says that it could not be read.
func Load(fsys fs.FS, dir, prefix string) ([]*lint.Rule, error) {
	entries, err := fs.ReadDir(fsys, dir)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var rules []*lint.Rule
	for _, e := range entries {
		if e.IsDir() || path.Ext(e.Name()) != ".yaml" {
			continue
		}
		name := path.Join(dir, e.Name())
		info, err := fs.Stat(fsys, name)
		if err != nil {
			return nil, err
		}
		if info.Size() > MaxFile {
			return nil, fmt.Errorf("%s: house rule has %d bytes; at most %d are read", path.Join(prefix, name), info.Size(), MaxFile)
		}
		data, err := fs.ReadFile(fsys, name)
		if err != nil {
			return nil, err
		}
		r, err := Parse(path.Join(prefix, name), data)
		if err != nil {
			return nil, err
		}
		rules = append(rules, r)
	}
	slices.SortFunc(rules, func(a, b *lint.Rule) int { return cmp.Compare(a.Name, b.Name) })
	if err := lint.Validate(rules); err != nil {
		return nil, err
	}
	return rules, nil
}

// Parse reads one rule and runs its examples. The error begins with file and line.
func Parse(file string, data []byte) (*lint.Rule, error) {
	f, err := parseFile(file, data)
	if err != nil {
		return nil, err
	}
	p := &program{at: f.at.text, message: f.message.text}
	if p.expression, err = compile(f.expression.text); err != nil {
		return nil, f.errorf(f.expression.line, "expression: %v", err)
	}
	if f.when.text != "" {
		if p.when, err = compile(f.when.text); err != nil {
			return nil, f.errorf(f.when.line, "when: %v", err)
		}
	}
	if err := f.runExamples(p); err != nil {
		return nil, err
	}
	return &lint.Rule{
		Name: f.name.text, Title: f.title.text, Doc: f.doc(), Severity: f.severity, Cites: []lint.Citation{{Kind: lint.House, Document: f.source.text}}, Protects: lint.Record, Edition: edition,
		AppliesTo: lint.Kind(f.kinds...), Record: p.check,
	}, nil
}

// runExamples holds the rule against its own examples.
func (f *file) runExamples(p *program) error {
	const day = "2026-11-25"
	for _, ex := range f.wrong {
		applies, holds, err := p.judge(ex.value, day)
		switch {
		case err != nil:
			return f.errorf(ex.line, "wrong example: %v", err)
		case !applies:
			return f.errorf(ex.line, "wrong example is not reported: the rule does not apply to it; correct applies or the example")
		case holds:
			return f.errorf(ex.line, "wrong example is not reported: the expression is true for it; correct the expression or the example")
		}
	}
	for _, ex := range f.right {
		applies, holds, err := p.judge(ex.value, day)
		switch {
		case err != nil:
			return f.errorf(ex.line, "right example: %v", err)
		case applies && !holds:
			return f.errorf(ex.line, "right example is reported: the expression is false for it; correct the expression or the example")
		}
	}
	return nil
}

// doc makes the document that explain shows.
func (f *file) doc() string {
	var b strings.Builder
	section := func(heading, text, otherwise string) {
		fmt.Fprintf(&b, "## %s\n%s\n\n", heading, cmp.Or(strings.TrimSpace(text), otherwise))
	}
	what := "Reported where this is not true:\n\n    " + strings.TrimSpace(f.expression.text)
	if f.when.text != "" {
		what += "\n\nAsked only where this is true:\n\n    " + strings.TrimSpace(f.when.text)
	}
	section("What", what, "")
	section("Why", f.why.text, "The shop whose library this is wants it so.")
	section("How to mend", f.mend.text, "The message says how.")
	section("When to waive", f.waive.text, "With a reason and for a time, as for any rule.")
	section("Source", f.source.text, "")
	return strings.TrimSuffix(b.String(), "\n")
}

// kindNames lists the kinds a rule may apply to.
func kindNames() []string {
	out := make([]string, len(specdata.Kinds))
	for i, k := range specdata.Kinds {
		out[i] = string(k)
	}
	return out
}
