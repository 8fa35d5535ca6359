package lint

import (
	"cmp"
	"fmt"
	"runtime/debug"
	"slices"
	"time"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/library"
)

// RuleFailure says that a rule broke down on a record or reported what it may not
// report. It is a fault of the rule, never of the record.
type RuleFailure struct {
	Rule   string
	Record specdata.Name
	// Cause is what went wrong, in words for whoever mends the rule.
	Cause string
	// Stack is where, for whoever mends the rule; nil when the rule did not panic.
	Stack []byte
}

// Error implements error. After a panic it leaves out cause and stack, which help
// nobody who only wanted a record checked.
func (f *RuleFailure) Error() string {
	if f.Stack == nil {
		return fmt.Sprintf("rule %s failed on record %s: %s", f.Rule, f.Record, f.Cause)
	}
	return fmt.Sprintf("rule %s failed on record %s; the fault is the rule's, not the record's: please report it together with the record", f.Rule, f.Record)
}

// result is what judging one record gave.
type result struct {
	findings []specdata.Finding
	skipped  []specdata.NotChecked
	failures []*RuleFailure
	leftOut  []leftOut
}

// worker is what one goroutine uses again for every record: the pass, which is large
// with all that rules share, and what it counts, by index of rule.
type worker struct {
	pass    Pass
	applied []int
	took    []time.Duration // nil unless asked for
	watched *watched        // nil unless records cannot be read
}

func newWorker(o *Options) *worker {
	w := &worker{applied: make([]int, len(o.Rules))}
	if o.Time {
		w.took = make([]time.Duration, len(o.Rules))
	}
	if len(o.Unread)+len(o.doubtful) > 0 {
		w.watched = &watched{Library: o.Library, unread: o.Unread, doubtful: o.doubtful}
	}
	return w
}

// judge runs every rule over one record, then settles its waivers.
func (w *worker) judge(o *Options, e *library.Entry) (res result) {
	if r, ok := e.Record.(*specdata.Procedure); ok { // what readers get is judged
		if whole := claim.Complete(r, o.Library); whole != r {
			composed := *e
			composed.Record = whole
			e = &composed
		}
	}
	p := &w.pass
	*p = Pass{Entry: e, rules: o.Rules, Library: o.Library, watched: w.watched, Date: o.Date, doc: decoded{canonical: e.Canonical}, duplicates: o.duplicates}
	if w.watched != nil {
		p.Library, w.watched.self = w.watched, e.Name()
	}
	for _, i := range o.ofKind[e.Record.Header().Kind] {
		p.rule = o.Rules[i]
		start := time.Time{}
		if o.Time {
			start = time.Now()
		}
		applied, failure := apply(o, p)
		if applied {
			w.applied[i]++
		}
		if o.Time {
			w.took[i] += time.Since(start)
		}
		if failure != nil {
			res.failures = append(res.failures, failure)
		}
	}
	if p.findings == nil && p.skipped == nil && e.Record.Header().Waivers == nil {
		return res
	}
	for i := range p.findings {
		complete(&p.findings[i], e, &p.doc)
	}
	res.findings = settleWaivers(o, e, p.findings, &p.doc, p.leftOut)
	res.leftOut = p.leftOut
	slices.SortStableFunc(p.skipped, func(a, b specdata.NotChecked) int {
		return cmp.Or(cmp.Compare(a.Rule, b.Rule), cmp.Compare(a.Pointer, b.Pointer), cmp.Compare(a.Why, b.Why))
	})
	res.skipped = p.skipped
	return res
}

// apply runs the pass's rule over its record and says whether the rule applied.
// Whatever the rule does, the run goes on.
func apply(o *Options, p *Pass) (applied bool, failure *RuleFailure) {
	defer func() {
		if v := recover(); v != nil {
			failure = &RuleFailure{Rule: p.rule.Name, Record: p.Entry.Name(), Cause: fmt.Sprint(v), Stack: debug.Stack()}
		} else if p.fault != "" {
			failure = &RuleFailure{Rule: p.rule.Name, Record: p.Entry.Name(), Cause: p.fault}
		}
		applied = applied && !p.declined
		p.fault, p.declined = "", false
	}()
	r := p.rule
	findings, skipped := len(p.findings), len(p.skipped)
	defer func() {
		p.keepOne(findings)
		p.leaveOut(findings, skipped)
	}()
	if !r.AppliesTo.Covers(p.Entry.Record) {
		return false, nil
	}
	if r.Record != nil {
		applied = true
		r.Record(p)
	}
	if r.Change != nil && o.Old != nil {
		old := o.Old.Get(p.Entry.Name())
		switch {
		case old == nil:
			applied = true
			r.Change(p, nil)
		case old.Hash != p.Entry.Hash:
			applied = true
			r.Change(p, old.Record)
		}
	}
	return applied, nil
}

// complete fills in what a rule does not say itself.
func complete(f *specdata.Finding, e *library.Entry, doc *decoded) {
	f.Position = e.Position(f.Pointer)
	value, byKey := doc.lookUp(f.Pointer)
	f.Value = value
	f.Identify(byKey)
}

// keepOne drops reports of the pass's rule that say again what it has said, as a
// rule does that looks at each side and each variant. from is where its reports begin.
func (p *Pass) keepOne(from int) {
	own := p.findings[from:from]
	for _, f := range p.findings[from:] {
		if !slices.ContainsFunc(own, func(g specdata.Finding) bool {
			return g.Pointer == f.Pointer && g.Message == f.Message && g.Severity == f.Severity
		}) {
			own = append(own, f)
		}
	}
	p.findings = p.findings[:from+len(own)]
}
