package lint

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"time"

	"proofload/specdata"
	"proofload/specdata/library"
)

// Options says what to run over what.
type Options struct {
	Rules   []*Rule
	Library library.Library
	// Only restricts the run to these records; nil means all. Rules still see the whole library.
	Only []specdata.Name
	// Old is the library before a change, for change rules; nil means there is none.
	Old library.Library
	// Unread lists records whose files are there and cannot be read, with the file. What
	// a rule says after asking for one of them is not a finding but a check left out.
	Unread map[specdata.Name]string
	// Date is the day the run is for; it decides what has expired. The time of day is ignored.
	Date time.Time
	// Time asks for Report.Took.
	Time bool

	duplicates *duplicates
	// doubtful lists records that findings must not rest on, with what is wrong with them.
	doubtful map[specdata.Name]string
	// ofKind lists the rules that look at records of a kind, by index.
	ofKind map[specdata.Kind][]int
}

// Report is what a run found. The same input gives the same report, whatever
// GOMAXPROCS; Took is the exception.
type Report struct {
	// Findings are in the order of specdata.SortFindings.
	Findings []specdata.Finding `json:"findings"`
	// NotChecked is in order of kind, id, rule and pointer.
	NotChecked []specdata.NotChecked `json:"not_checked"`
	// Records is how many records were looked at.
	Records int `json:"records"`
	// Applied counts, by rule, the records the rule looked at.
	Applied map[string]int `json:"applied"`
	// Unread says, for each record of Options.Unread that a rule asked for, and for each
	// that a reference leads to or from in vain, what was left out because of it, in order
	// of kind and id.
	Unread []Unread `json:"unread,omitempty"`
	// Took is the time spent in each rule, by name, summed over all processors;
	// nil unless Options.Time asked for it.
	Took map[string]time.Duration `json:"-"`
}

// Worst returns the highest severity among the findings that no waiver accepts, "" if there is none.
func (r *Report) Worst() specdata.Severity {
	var worst specdata.Severity
	for _, f := range r.Findings {
		if f.Waived == "" && f.Severity.Rank() > worst.Rank() {
			worst = f.Severity
		}
	}
	return worst
}

// Run judges the records. It fails when the rules are unfit, a rule itself fails
// (a *RuleFailure), the context ends or the library could not be fetched; what was
// found until then is discarded, because half a check reads like a clean one.
func Run(ctx context.Context, o Options) (*Report, error) {
	if err := Validate(o.Rules); err != nil {
		return nil, err
	}
	if o.Date.IsZero() {
		return nil, errors.New("a lint run needs the day it is for; set Options.Date")
	}
	o.Date = time.Date(o.Date.Year(), o.Date.Month(), o.Date.Day(), 0, 0, 0, 0, time.UTC)
	o.ofKind = map[specdata.Kind][]int{}
	for i, r := range o.Rules {
		for _, k := range slices.Compact(slices.Sorted(slices.Values(r.AppliesTo.kinds))) {
			o.ofKind[k] = append(o.ofKind[k], i)
		}
	}
	entries, err := selected(o)
	if err != nil {
		return nil, err
	}
	if len(entries) > many {
		o.duplicates = newDuplicates(o.Library)
	}
	results, workers, err := judgeAll(ctx, &o, entries)
	if err != nil {
		return nil, err
	}
	rep, err := gather(&o, results, workers)
	if err != nil {
		return nil, err
	}
	// That a vehicle does not exist is said once, and what follows from it is left out.
	if o.doubtful = doubts(&o, rep); o.doubtful == nil {
		return rep, nil
	}
	if results, workers, err = judgeAll(ctx, &o, entries); err != nil {
		return nil, err
	}
	return gather(&o, results, workers)
}

// many records are worth preparing a run for; what one edit touches is less.
const many = 1000

// chunk is how many records a worker takes at once: enough that the lock costs
// nothing, few enough that the last worker does not run alone for long.
const chunk = 16

func judgeAll(ctx context.Context, o *Options, entries []*library.Entry) (results []result, workers []*worker, err error) {
	results = make([]result, len(entries))
	var next int
	var mu sync.Mutex
	take := func() (from, to int) {
		mu.Lock()
		defer mu.Unlock()
		from = next
		next = min(next+chunk, len(entries))
		return from, next
	}
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(entries)/chunk+1) {
		w := newWorker(o)
		workers = append(workers, w)
		wg.Go(func() {
			for {
				from, to := take()
				if from == to {
					return
				}
				for i := from; i < to; i++ {
					if ctx.Err() != nil {
						return
					}
					results[i] = w.judge(o, entries[i])
				}
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, nil, err
	}
	if err := o.Library.Err(); err != nil {
		return nil, nil, fmt.Errorf("library could not be read to the end: %w", err)
	}
	if o.Old != nil {
		if err := o.Old.Err(); err != nil {
			return nil, nil, fmt.Errorf("library before the change could not be read to the end: %w", err)
		}
	}
	return results, workers, nil
}

func gather(o *Options, results []result, workers []*worker) (*Report, error) {
	rep := &Report{Findings: []specdata.Finding{}, NotChecked: []specdata.NotChecked{}, Records: len(results), Applied: map[string]int{}}
	if o.Time {
		rep.Took = map[string]time.Duration{}
	}
	for i, r := range o.Rules {
		rep.Applied[r.Name] = 0
		for _, w := range workers {
			rep.Applied[r.Name] += w.applied[i]
			if o.Time {
				rep.Took[r.Name] += w.took[i]
			}
		}
	}
	rep.Unread = unread(o, results)
	var failures []error
	failed := map[string]bool{}
	for _, res := range results {
		rep.Findings = append(rep.Findings, res.findings...)
		rep.NotChecked = append(rep.NotChecked, res.skipped...)
		for _, f := range res.failures {
			if !failed[f.Rule] { // one record is enough to show that a rule is at fault
				failed[f.Rule] = true
				failures = append(failures, f)
			}
		}
	}
	if failures != nil {
		return nil, errors.Join(failures...)
	}
	specdata.SortFindings(rep.Findings)
	return rep, nil
}

// selected returns the entries to judge in order of kind and id.
func selected(o Options) ([]*library.Entry, error) {
	var entries []*library.Entry
	if o.Only == nil {
		for _, k := range specdata.Kinds {
			entries = slices.AppendSeq(entries, o.Library.All(k))
		}
		return entries, nil
	}
	names := slices.Clone(o.Only)
	slices.SortFunc(names, compareNames)
	for _, n := range slices.Compact(names) {
		e := o.Library.Get(n)
		if e == nil {
			if err := o.Library.Err(); err != nil {
				return nil, err
			}
			return nil, fmt.Errorf("record %s is not in the library", n)
		}
		entries = append(entries, e)
	}
	return entries, nil
}

// compareNames orders names by kind, in the order of specdata.Kinds, then id.
func compareNames(a, b specdata.Name) int {
	return cmp.Or(
		cmp.Compare(slices.Index(specdata.Kinds, a.Kind()), slices.Index(specdata.Kinds, b.Kind())),
		cmp.Compare(a, b),
	)
}
