package desk

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strconv"

	"proofload/server/fault"
	"proofload/server/snapshot"
	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
)

// maxFindings is how many findings of each list are kept with a correction: a change
// of a vehicle concerns every record of it.
const maxFindings = 300

// check judges the library as it would become with the drafts, and says what that
// changes about the library as it is.
func (d *Desk) check(ctx context.Context, at *snapshot.Snapshot, drafts []Draft) (Findings, error) {
	before := library.Remember(at)
	var names, gone []specdata.Name
	var entries []*library.Entry
	for _, draft := range drafts {
		names = append(names, draft.Name)
		if draft.Document == nil {
			gone = append(gone, draft.Name)
			continue
		}
		doc, err := document.ReadCanonical(draft.Document)
		if err != nil {
			return Findings{}, err
		}
		entries = append(entries, library.NewEntry(doc))
	}
	after := library.Overlay(library.Without(before, gone...), entries...)
	only := d.affected(after, before, names)
	now, err := d.judge(ctx, after, only, before)
	if err != nil {
		return Findings{}, err
	}
	known := []specdata.Name{}
	for _, n := range slices.Concat(only, gone) {
		if before.Get(n) != nil {
			known = append(known, n)
		}
	}
	was, err := d.judge(ctx, before, known, nil)
	if err != nil {
		return Findings{}, err
	}
	if err := before.Err(); err != nil {
		return Findings{}, err
	}
	f := compare(was.Findings, now.Findings, names)
	for _, n := range now.NotChecked {
		if slices.Contains(names, n.Record) {
			f.NotChecked = append(f.NotChecked, n)
		}
	}
	f.bound()
	return f, nil
}

// compare tells findings apart by identity, each as often as it occurs.
func compare(was, now []specdata.Finding, changed []specdata.Name) Findings {
	old := map[string]int{}
	for i := range was {
		old[was[i].Identity]++
	}
	var f Findings
	for _, x := range now {
		fresh := old[x.Identity] == 0
		if fresh {
			f.New = append(f.New, x)
		} else {
			old[x.Identity]--
			f.Unchanged = append(f.Unchanged, x)
		}
		if x.Severity == specdata.Error && x.Waived == "" && (fresh || slices.Contains(changed, x.Record)) {
			f.Blocking++
		}
	}
	for _, x := range was {
		if old[x.Identity] > 0 {
			old[x.Identity]--
			f.Mended = append(f.Mended, x)
		}
	}
	return f
}

// bound keeps of each list what fits, the worst first.
func (f *Findings) bound() {
	for _, list := range []*[]specdata.Finding{&f.New, &f.Mended, &f.Unchanged} {
		slices.SortStableFunc(*list, func(a, b specdata.Finding) int {
			return cmp.Or(compareBool(a.Waived != "", b.Waived != ""), cmp.Compare(b.Severity.Rank(), a.Severity.Rank()))
		})
		if n := len(*list) - maxFindings; n > 0 {
			f.Omitted += n
			*list = (*list)[:maxFindings]
		}
	}
	if n := len(f.NotChecked) - maxFindings; n > 0 {
		f.Omitted += n
		f.NotChecked = f.NotChecked[:maxFindings]
	}
}

func compareBool(a, b bool) int {
	switch {
	case a == b:
		return 0
	case b:
		return -1
	}
	return 1
}

// maxBlocking is how many findings one error names.
const maxBlocking = 20

// blocked is the error of findings that keep a correction from being approved or
// published, nil where there are none.
func (c *Correction) blocked() error {
	if c.Findings.Blocking == 0 {
		return nil
	}
	errs := "1 error"
	if c.Findings.Blocking != 1 {
		errs = strconv.Itoa(c.Findings.Blocking) + " errors"
	}
	e := fault.New(fault.FindingsBlock, "correction %s has %s that no waiver accepts; amend it, or waive in the record with a reason", c.ID, errs).
		With("correction", c.ID).With("blocking", strconv.Itoa(c.Findings.Blocking))
	for _, f := range c.blocking() {
		e.Violations = append(e.Violations, fault.Violation{Field: f.Pointer, Description: fmt.Sprintf("%s: %s: %s", f.Record, f.Rule, f.Message)})
	}
	return e
}

// blocking returns the findings that block, at most maxBlocking.
func (c *Correction) blocking() []specdata.Finding {
	var out []specdata.Finding
	for i, list := range [][]specdata.Finding{c.Findings.New, c.Findings.Unchanged} {
		for _, f := range list {
			own := slices.ContainsFunc(c.Drafts, func(d Draft) bool { return d.Name == f.Record })
			if f.Severity == specdata.Error && f.Waived == "" && (i == 0 || own) && len(out) < maxBlocking {
				out = append(out, f)
			}
		}
	}
	return out
}
