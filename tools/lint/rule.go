// Package lint runs rules over records. The same rules run in the editor, on the
// command line, in CI and in the server when a correction is proposed.
package lint

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// The severities a rule declares, spelt short for declarations.
const (
	Error   = specdata.Error
	Warning = specdata.Warning
	Advice  = specdata.Advice
)

// Rule is one thing that is checked. Rules are values: declared, listed, never registered.
// They are pure: no files, no network, no clock.
type Rule struct {
	// Name is plain kebab-case, a sentence in short, stable for ever.
	Name string
	// Title says what is wrong when the rule reports, lower case, no full stop.
	Title string
	// Doc is Markdown with the headings What, Why, How to mend, When to waive, Source.
	Doc string
	// Severity is the most the rule may say.
	Severity specdata.Severity
	// Cites is what makes this a rule: documents, or [CommonPractice].
	Cites []Citation
	// Protects says what the rule is for; rules are listed by it.
	Protects Ward
	// Edition is the first rule edition that has it.
	Edition string
	// AppliesTo says which records the rule looks at, apart from whether it holds for them.
	AppliesTo Scope
	// NoWaiver says that no person may accept a finding of this rule.
	NoWaiver bool

	// At least one of the following.

	// Record judges one record; it may look at others through the pass's library.
	Record func(*Pass)
	// Change judges a record against the revision it is to replace, nil if it is new.
	Change func(p *Pass, old specdata.Record)
}

// Scope is the set of records a rule applies to.
type Scope struct {
	kinds []specdata.Kind
	where func(specdata.Record) bool
}

// Kind is the scope of every record of some kinds.
func Kind(kinds ...specdata.Kind) Scope { return Scope{kinds: kinds} }

// Where narrows a scope to the records for which keep is true.
func (s Scope) Where(keep func(specdata.Record) bool) Scope {
	s.where = keep
	return s
}

// FastenerWhere is the scope of the fasteners for which keep is true.
func FastenerWhere(keep func(*specdata.Fastener) bool) Scope {
	return Kind(specdata.KindFastener).Where(func(r specdata.Record) bool {
		f, ok := r.(*specdata.Fastener)
		return ok && keep(f)
	})
}

// Covers reports whether the rule with this scope looks at a record.
func (s Scope) Covers(r specdata.Record) bool {
	k := r.Header().Kind
	for _, want := range s.kinds {
		if k == want {
			return s.where == nil || s.where(r)
		}
	}
	return false
}

// Kinds lists the kinds of the scope.
func (s Scope) Kinds() []specdata.Kind { return s.kinds }

var (
	nameForm    = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)+$`)
	editionForm = regexp.MustCompile(`^20\d\d-(0[1-9]|1[0-2])$`)
	headings    = []string{"## What", "## Why", "## How to mend", "## When to waive", "## Source"}
)

// Validate refuses a set of rules that is not fit to run: a bad or repeated name,
// a missing declaration, a document without its headings.
func Validate(rules []*Rule) error {
	seen := map[string]bool{}
	for _, r := range rules {
		if err := CheckName(r.Name); err != nil {
			return err
		}
		switch {
		case seen[r.Name]:
			return fmt.Errorf("rule %s is declared twice", r.Name)
		case r.Severity.Rank() == 0:
			return fmt.Errorf("rule %s has severity %q; allowed: error, warning, advice", r.Name, r.Severity)
		case r.Title == "" || len(r.Cites) == 0:
			return fmt.Errorf("rule %s lacks a title or a citation", r.Name)
		case r.Protects.rank() < 0:
			return fmt.Errorf("rule %s protects %q; Wards lists what there is", r.Name, r.Protects)
		case !editionForm.MatchString(r.Edition):
			return fmt.Errorf("rule %s has edition %q; write a year and a month, like 2026-12", r.Name, r.Edition)
		case len(r.AppliesTo.kinds) == 0:
			return fmt.Errorf("rule %s applies to nothing", r.Name)
		case r.Record == nil && r.Change == nil:
			return fmt.Errorf("rule %s checks nothing", r.Name)
		}
		for _, c := range r.Cites {
			if err := c.valid(); err != nil {
				return fmt.Errorf("rule %s: citation has %w", r.Name, err)
			}
		}
		seen[r.Name] = true
		rest := r.Doc
		for _, h := range headings {
			i := strings.Index(rest, h+"\n")
			if i < 0 {
				return fmt.Errorf("rule %s: its document lacks the heading %q, or has it out of order", r.Name, h)
			}
			rest = rest[i:]
		}
	}
	return nil
}

// CheckName refuses a name that no rule may have.
func CheckName(name string) error {
	switch {
	case !nameForm.MatchString(name):
		return fmt.Errorf("rule name %q is not two or more lower-case words joined by hyphens", name)
	case strings.HasPrefix(name, "waiver-"):
		return fmt.Errorf("rule name %q is reserved for the rules about waivers; choose another", name)
	}
	return nil
}

// Pass is what a rule sees of one record.
type Pass struct {
	Entry   *library.Entry
	Library library.Library
	// Date is the day the run is for; rules have no clock.
	Date time.Time

	rule       *Rule
	rules      []*Rule
	findings   []specdata.Finding
	skipped    []specdata.NotChecked
	duplicates *duplicates
	mechanics  mechanics
	clashes    clashes
	watched    *watched
	shared     map[string][]specdata.Name
	leftOut    []leftOut
	dry        *dryrun.Result
	problems   []dryrun.Problem
	written    []Written
	doc        decoded
	declined   bool
	fault      string // what the rule did that a rule may not do

	words       *claim.World
	sentences   []*claim.Text
	acts        []*dryrun.Act
	tightenings []dryrun.TorqueUse
}

// Fastener returns the record as a fastener; call it from rules whose scope is fasteners.
func (p *Pass) Fastener() *specdata.Fastener { return p.Entry.Record.(*specdata.Fastener) }

// Vehicle returns the record as a vehicle.
func (p *Pass) Vehicle() *specdata.Vehicle { return p.Entry.Record.(*specdata.Vehicle) }

// Assembly returns the record as an assembly.
func (p *Pass) Assembly() *specdata.Assembly { return p.Entry.Record.(*specdata.Assembly) }

// Procedure returns the record as a procedure.
func (p *Pass) Procedure() *specdata.Procedure { return p.Entry.Record.(*specdata.Procedure) }

// Source returns the record as a source.
func (p *Pass) Source() *specdata.Source { return p.Entry.Record.(*specdata.Source) }

// Problem is what a rule reports. Only At and Message are required.
type Problem struct {
	// At is the JSON pointer of the value the problem is about.
	At string
	// Message says what is wrong, with the value; what would be right; and the mend.
	Message string
	// Severity is the rule's own when absent; a rule may say less than it declares, not more.
	Severity   specdata.Severity
	Arithmetic []string
	Related    []specdata.Related
	Fix        []specdata.Change
}

// Report records a problem. Position, value and identity are filled in by the run.
func (p *Pass) Report(pr Problem) {
	sev := pr.Severity
	if sev == "" {
		sev = p.rule.Severity
	}
	if sev.Rank() == 0 || sev.Rank() > p.rule.Severity.Rank() {
		p.fault = fmt.Sprintf("reported severity %q, but declares at most %q", sev, p.rule.Severity)
	}
	p.findings = append(p.findings, specdata.Finding{
		Rule: p.rule.Name, Severity: sev, Record: p.Entry.Name(), Pointer: pr.At, Message: pr.Message,
		Arithmetic: pr.Arithmetic, Related: pr.Related, Fix: pr.Fix,
	})
}

// Reportf records a problem that is only a place and a message.
func (p *Pass) Reportf(at, format string, args ...any) {
	p.Report(Problem{At: at, Message: fmt.Sprintf(format, args...)})
}

// NotChecked records that the rule could not judge the record, and why.
func (p *Pass) NotChecked(at, why string) {
	p.skipped = append(p.skipped, specdata.NotChecked{Rule: p.rule.Name, Record: p.Entry.Name(), Pointer: at, Why: why})
}

// NotApplicable records that the record turned out to be outside the rule's scope,
// for rules whose scope shows only in the document.
func (p *Pass) NotApplicable() { p.declined = true }

// FallenSilent names the rules of the run that looked at the record before a change
// and look at it no more, because the change moved it out of their scope.
func (p *Pass) FallenSilent(was specdata.Record) []string {
	var names []string
	for _, r := range p.rules {
		if r.AppliesTo.Covers(was) && !r.AppliesTo.Covers(p.Entry.Record) {
			names = append(names, r.Name)
		}
	}
	return names
}

// Fail records that the rule itself broke down on the record. The run then fails
// with a *RuleFailure, because the record has not been judged.
func (p *Pass) Fail(cause string) { p.fault = cause }

// Document returns the record's document as encoding/json decodes it into an any. It
// is shared by all rules and must not be changed.
func (p *Pass) Document() any { return p.doc.root() }

// Value returns the value at a pointer as findings show it, "" where there is none.
func (p *Pass) Value(pointer string) string {
	v, _ := p.doc.lookUp(pointer)
	return v
}

// Related points at a value of another record.
func Related(e *library.Entry, pointer, message string) specdata.Related {
	return specdata.Related{Record: e.Name(), Pointer: pointer, Position: e.Position(pointer), Message: message}
}
