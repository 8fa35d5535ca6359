package lint

import (
	"slices"

	"proofload/specdata"
	"proofload/specdata/dryrun"
)

// DryRun returns the dry run of the record, a procedure. It is run once a pass,
// whatever number of rules ask.
func (p *Pass) DryRun() *dryrun.Result {
	if p.dry != nil {
		p.sharing("dry run", nil)
		return p.dry
	}
	p.sharing("dry run", func() { p.dry = dryrun.Run(p.Library, p.Entry.Record.(*specdata.Procedure)) })
	return p.dry
}

// Problems returns what the dry run of the record, a procedure, found. Rules pick from it; a test over all
// rules holds that every problem is picked by exactly one.
func (p *Pass) Problems() []dryrun.Problem {
	if dry := p.DryRun(); p.problems == nil {
		p.problems = append([]dryrun.Problem{}, dry.Problems()...)
	}
	return p.problems
}

// Found is a problem of the dry run as a rule sees it.
type Found = dryrun.Problem

// FromDryRun is the check of a rule that reports the dry run's problems that are
// its own, at the severity it declares.
func FromDryRun(own func(Found) bool) func(*Pass) {
	return FromDryRunAt(func(f Found) (specdata.Severity, bool) { return "", own(f) })
}

// FromDryRunAt is FromDryRun for a rule that says some of its problems at less than
// it declares; severity "" is the declared one.
func FromDryRunAt(own func(Found) (severity specdata.Severity, ok bool)) func(*Pass) {
	return func(p *Pass) {
		for _, f := range p.Problems() {
			if severity, ok := own(f); ok {
				p.ReportFound(f, severity)
			}
		}
	}
}

// ReportFound reports a problem of the dry run; severity "" is the declared one.
func (p *Pass) ReportFound(f Found, severity specdata.Severity) {
	pr := Problem{At: f.Pointer, Message: f.Message(), Severity: severity}
	if f.Changed != nil && f.Changed.Pointer() != f.Pointer {
		pr.Related = append(pr.Related, Related(p.Entry, f.Changed.Pointer(), "what changed it last"))
	}
	if last := f.Entry.Last; last != nil && last.Pointer() != f.Pointer {
		pr.Related = append(pr.Related, Related(p.Entry, last.Pointer(), "what worked on it last"))
	}
	p.Report(pr)
}

// LeftOpen picks the ledger entries of some debts that are open at the end.
func LeftOpen(debts ...dryrun.Debt) func(Found) bool {
	return func(f Found) bool { return f.Cause == dryrun.CauseOpen && slices.Contains(debts, f.Entry.Debt) }
}

// Failed picks the failed preconditions of some causes.
func Failed(causes ...dryrun.Cause) func(Found) bool {
	return func(f Found) bool { return slices.Contains(causes, f.Cause) }
}
