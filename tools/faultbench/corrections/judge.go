package corrections

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"sync"
	"text/tabwriter"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/lint"
)

// Table is what the rules say of a set of changes.
type Table struct {
	Kinds []KindRow
	Rules []RuleRow
	// Slips and Rights count the changes.
	Slips, Rights int
	// Change names the rules that compare old and new.
	change map[string]bool
}

// KindRow counts the changes of one kind by the worst that is said of them.
type KindRow struct {
	Kind                          string
	Right                         bool
	Tried, Error, Warning, Advice int
}

// RuleRow counts the changes that a rule warns of or refuses.
type RuleRow struct {
	Rule          string
	Slips, Rights int
}

// Ratio is how much likelier a rule reports a wrong change than a right
// one, with half a case added to both so that none is infinite.
func (t *Table) Ratio(r RuleRow) float64 {
	return (float64(r.Slips) + 0.5) / (float64(t.Slips) + 1) / ((float64(r.Rights) + 0.5) / (float64(t.Rights) + 1))
}

// Judge runs the rules over every change. What they already said of the record
// before anything changed is no merit and no fault of a change.
func Judge(ctx context.Context, lib library.Library, rules []*lint.Rule, changes []Change) (*Table, error) {
	newer, err := entry(Newer(lib))
	if err != nil {
		return nil, err
	}
	said := make([]map[string]specdata.Severity, len(changes))
	errs := make([]error, len(changes))
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				said[i], errs[i] = judge(ctx, library.Overlay(lib, newer), rules, changes[i])
			}
		})
	}
	for i := range changes {
		next <- i
	}
	close(next)
	wg.Wait()
	t := &Table{change: map[string]bool{}}
	for _, r := range rules {
		t.change[r.Name] = r.Change != nil
	}
	kinds, byRule := map[string]*KindRow{}, map[string]*RuleRow{}
	for _, name := range Kinds() {
		kinds[name] = &KindRow{Kind: name}
	}
	for i, c := range changes {
		if errs[i] != nil {
			return nil, fmt.Errorf("change %s of %s: %w", c.Kind, c.New.ID, errs[i])
		}
		k := kinds[c.Kind]
		k.Right = c.Right
		k.Tried++
		if c.Right {
			t.Rights++
		} else {
			t.Slips++
		}
		worst := specdata.Severity("")
		for rule, severity := range said[i] {
			if severity.Rank() > worst.Rank() {
				worst = severity
			}
			if severity.Rank() < specdata.Warning.Rank() {
				continue
			}
			if byRule[rule] == nil {
				byRule[rule] = &RuleRow{Rule: rule}
			}
			if c.Right {
				byRule[rule].Rights++
			} else {
				byRule[rule].Slips++
			}
		}
		switch worst {
		case specdata.Error:
			k.Error++
		case specdata.Warning:
			k.Warning++
		case specdata.Advice:
			k.Advice++
		}
	}
	for _, name := range Kinds() {
		t.Kinds = append(t.Kinds, *kinds[name])
	}
	for _, r := range byRule {
		t.Rules = append(t.Rules, *r)
	}
	slices.SortFunc(t.Rules, func(a, b RuleRow) int { return strings.Compare(a.Rule, b.Rule) })
	return t, nil
}

// day is the day every run is for, so that nothing depends on the calendar.
var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// judge returns the worst that each rule says newly of a changed record.
func judge(ctx context.Context, lib library.Library, rules []*lint.Rule, c Change) (map[string]specdata.Severity, error) {
	was, err := entry(c.Old)
	if err != nil {
		return nil, err
	}
	is, err := entry(c.New)
	if err != nil {
		return nil, err
	}
	only := []specdata.Name{is.Name()}
	before, err := lint.Run(ctx, lint.Options{Rules: rules, Library: lib, Only: only, Date: day})
	if err != nil {
		return nil, err
	}
	known := map[string]bool{}
	for _, f := range before.Findings {
		known[f.Rule+f.Pointer] = true
	}
	rep, err := lint.Run(ctx, lint.Options{Rules: rules, Library: library.Overlay(lib, is), Old: library.Overlay(lib, was), Only: only, Date: day})
	if err != nil {
		return nil, err
	}
	said := map[string]specdata.Severity{}
	for _, f := range rep.Findings {
		if !known[f.Rule+f.Pointer] && f.Severity.Rank() > said[f.Rule].Rank() {
			said[f.Rule] = f.Severity
		}
	}
	return said, nil
}

func entry(r specdata.Record) (*library.Entry, error) {
	text, err := document.Canonical(r)
	if err != nil {
		return nil, err
	}
	doc, err := document.ReadCanonical(text)
	if err != nil {
		return nil, err
	}
	return library.NewEntry(doc), nil
}

// Text prints the table.
func (t *Table) Text(w io.Writer) error {
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "change\ttried\terror\twarning\tadvice\terror or warning\t\n")
	share := func(n, of int) string {
		if of == 0 {
			return "-"
		}
		return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(of))
	}
	sums := map[bool]*KindRow{true: {Kind: "all right changes"}, false: {Kind: "all wrong changes"}}
	row := func(k KindRow) {
		fmt.Fprintf(tw, "%s\t%d\t%d\t%d\t%d\t%s\t\n", k.Kind, k.Tried, k.Error, k.Warning, k.Advice, share(k.Error+k.Warning, k.Tried))
	}
	for _, right := range []bool{true, false} {
		for _, k := range t.Kinds {
			if k.Right == right {
				row(k)
				s := sums[right]
				s.Tried, s.Error, s.Warning, s.Advice = s.Tried+k.Tried, s.Error+k.Error, s.Warning+k.Warning, s.Advice+k.Advice
			}
		}
		row(*sums[right])
	}
	wrong, right := sums[false], sums[true]
	caught, cried := float64(wrong.Error+wrong.Warning), float64(right.Error+right.Warning)
	if err := tw.Flush(); err != nil {
		return err
	}
	if wrong.Tried > 0 && right.Tried > 0 {
		hit, alarm := caught/float64(wrong.Tried), cried/float64(right.Tried)
		fmt.Fprintf(w, "precision where one change in twenty is wrong: %.0f %%\n", 100*0.05*hit/max(0.05*hit+0.95*alarm, 1e-9))
	}
	fmt.Fprintln(w)
	tw = tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintf(tw, "rule (c: compares old and new)\ton wrong changes\ton right ones\tlikelihood ratio\t\n")
	for _, r := range t.Rules {
		name := r.Rule
		if t.change[name] {
			name = "c " + name
		}
		fmt.Fprintf(tw, "%s\t%d\t%d\t%.1f\t\n", name, r.Slips, r.Rights, t.Ratio(r))
	}
	return tw.Flush()
}
