package lint

import (
	"context"
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
	// Date is the day the run is for; it decides what has expired.
	Date time.Time
}

// Report is what a run found. The same input gives the same report, whatever GOMAXPROCS.
type Report struct {
	Findings   []specdata.Finding    `json:"findings"`
	NotChecked []specdata.NotChecked `json:"not_checked"`
	// Records is how many records were looked at.
	Records int `json:"records"`
	// Applied counts, by rule, the records the rule looked at.
	Applied map[string]int `json:"applied"`
}

// Worst gives the highest severity among the findings that no waiver accepts, "" if there is none.
func (r *Report) Worst() specdata.Severity {
	var worst specdata.Severity
	for _, f := range r.Findings {
		if f.Waived == "" && f.Severity.Rank() > worst.Rank() {
			worst = f.Severity
		}
	}
	return worst
}

// Run judges the records. It fails when the rules are unfit, the context ends or
// the library could not be fetched; what was found until then is discarded,
// because half a check reads like a clean one.
func Run(ctx context.Context, o Options) (*Report, error) {
	if err := Validate(o.Rules); err != nil {
		return nil, err
	}
	if o.Date.IsZero() {
		return nil, fmt.Errorf("a lint run needs the day it is for; set Options.Date")
	}
	entries, err := selected(o)
	if err != nil {
		return nil, err
	}
	results := make([]result, len(entries))
	var next int
	var mu sync.Mutex
	take := func() (from, to int) {
		mu.Lock()
		defer mu.Unlock()
		from = next
		next = min(next+64, len(entries))
		return from, next
	}
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(entries)/64+1) {
		wg.Go(func() {
			for ctx.Err() == nil {
				from, to := take()
				if from == to {
					return
				}
				for i := from; i < to; i++ {
					results[i] = judge(o, entries[i])
				}
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if err := o.Library.Err(); err != nil {
		return nil, fmt.Errorf("library could not be read to the end: %w", err)
	}
	rep := &Report{Findings: []specdata.Finding{}, NotChecked: []specdata.NotChecked{}, Records: len(entries), Applied: map[string]int{}}
	for _, r := range o.Rules {
		rep.Applied[r.Name] = 0
	}
	for _, res := range results {
		rep.Findings = append(rep.Findings, res.findings...)
		rep.NotChecked = append(rep.NotChecked, res.skipped...)
		for i, n := range res.applied {
			if n {
				rep.Applied[o.Rules[i].Name]++
			}
		}
	}
	specdata.SortFindings(rep.Findings)
	return rep, nil
}

func selected(o Options) ([]*library.Entry, error) {
	var entries []*library.Entry
	if o.Only == nil {
		for _, k := range specdata.Kinds {
			entries = slices.AppendSeq(entries, o.Library.All(k))
		}
		return entries, nil
	}
	for _, n := range o.Only {
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

type result struct {
	findings []specdata.Finding
	skipped  []specdata.NotChecked
	applied  []bool // by index of rule
}

// judge runs every rule over one record, then settles its waivers.
func judge(o Options, e *library.Entry) result {
	res := result{applied: make([]bool, len(o.Rules))}
	p := Pass{Entry: e, Library: o.Library, Date: o.Date}
	for i, r := range o.Rules {
		if !r.AppliesTo.Covers(e.Record) {
			continue
		}
		res.applied[i] = true
		p.rule = r
		if r.Record != nil {
			r.Record(&p)
		}
		if r.Change != nil && o.Old != nil {
			var old specdata.Record
			if was := o.Old.Get(e.Name()); was != nil {
				old = was.Record
			}
			r.Change(&p, old)
		}
	}
	for i := range p.findings {
		complete(&p.findings[i], e)
	}
	res.findings = settleWaivers(o, e, p.findings)
	res.skipped = p.skipped
	return res
}

// complete fills in what a rule does not say itself.
func complete(f *specdata.Finding, e *library.Entry) {
	f.Position = e.Position(f.Pointer)
	value, byKey := lookUp(e.Canonical, f.Pointer)
	f.Value = value
	f.Identify(byKey)
}
