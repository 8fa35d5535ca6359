// Package measure counts which seeded slips the rules catch and what they cry wolf on.
package measure

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"time"

	"proofload/specdata"
	"proofload/specdata/document"
	"proofload/specdata/library"
	"proofload/tools/faultbench/oracle"
	"proofload/tools/faultbench/slip"
	"proofload/tools/faultbench/vary"
	"proofload/tools/lint"
)

// day is the day every run is for, so that nothing depends on the calendar.
var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// Options says what to measure.
type Options struct {
	// Seed is the source of all chance, N how many slips of each kind are made,
	// Variations how many clean variations of the library stand beside it.
	Seed          uint64
	N, Variations int
	Rules         []*lint.Rule
	Library       library.Library
	// Missed asks for every slip that changes meaning and meets no error or warning.
	Missed bool
}

// Run measures clean, harmlessly edited and spoilt records. The same options give
// the same report, whatever GOMAXPROCS.
func Run(ctx context.Context, o Options) (*Report, error) {
	b, err := newBench(o)
	if err != nil {
		return nil, err
	}
	clean, err := b.clean(ctx)
	if err != nil {
		return nil, err
	}
	rows, err := b.run(ctx, slip.Kinds())
	if err != nil {
		return nil, err
	}
	harmless, err := b.run(ctx, slip.Harmless())
	if err != nil {
		return nil, err
	}
	return newReport(b, clean, rows, harmless), nil
}

// bench injects slips into clean libraries and asks the rules about each.
type bench struct {
	seed      uint64
	n         int // slips of each kind
	rules     []*lint.Rule
	libraries []library.Library
	// known are the findings on untouched records, by library: no slip's merit.
	known []map[string]bool
	// keep asks for every slip that was not caught, by kind.
	keep bool
}

// outcome is what became of one slip.
type outcome struct {
	what    string
	verdict oracle.Verdict
	// alone is the worst that rules say about the record as it is, correction
	// the worst that they and the rules about changes say of it as a correction of
	// what was there, redated the same where the corrector put a new day on the
	// citation, as one does who believes to have read the source again.
	alone, correction, redated specdata.Severity
}

// newBench lays out the libraries: the one given and variations of it.
func newBench(o Options) (*bench, error) {
	b := &bench{seed: o.Seed, n: o.N, rules: o.Rules, libraries: []library.Library{o.Library}, keep: o.Missed}
	for i := range o.Variations {
		v, err := vary.Library(b.rng(fmt.Sprint("variation ", i)), o.Library)
		if err != nil {
			return nil, err
		}
		b.libraries = append(b.libraries, v)
	}
	return b, nil
}

// rng is a source of chance of its own for each purpose, so that one more slip of
// one kind moves no other.
func (b *bench) rng(purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(b.seed, h.Sum64()))
}

// clean runs the rules over the untouched libraries.
func (b *bench) clean(ctx context.Context) (Clean, error) {
	var c Clean
	for i, l := range b.libraries {
		rep, err := lint.Run(ctx, lint.Options{Rules: b.rules, Library: l, Date: day})
		if err != nil {
			return c, err
		}
		c.Records += rep.Records
		alarmed, known := map[specdata.Name]bool{}, map[string]bool{}
		b.known = append(b.known, known)
		for _, f := range rep.Findings {
			known[f.Identity] = true
			if f.Severity == specdata.Advice {
				c.Advice++
				continue
			}
			alarmed[f.Record] = true
			c.Alarms = append(c.Alarms, fmt.Sprintf("library %d, %s: %s: %s [%s]", i, f.Record, f.Severity, f.Message, f.Rule))
		}
		c.Alarmed += len(alarmed)
	}
	return c, nil
}

// run tries every kind; each kind is the work of one processor at a time.
func (b *bench) run(ctx context.Context, kinds []slip.Kind) ([]Row, error) {
	rows, errs := make([]Row, len(kinds)), make([]error, len(kinds))
	next := make(chan int)
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				rows[i], errs[i] = b.kind(ctx, kinds[i])
			}
		})
	}
	for i := range kinds {
		next <- i
	}
	close(next)
	wg.Wait()
	return rows, errors.Join(errs...)
}

// attempts bounds how often a kind is tried on records that give no occasion.
const attempts = 40

func (b *bench) kind(ctx context.Context, k slip.Kind) (Row, error) {
	row := Row{Kind: k.Name, Group: k.Group}
	rng := b.rng(k.Name)
	entries := make([][]*library.Entry, len(b.libraries))
	for i, l := range b.libraries {
		entries[i] = slices.Collect(l.All(k.Of))
	}
	for range b.n * attempts {
		if row.Tried == b.n {
			break
		}
		i := rng.IntN(len(b.libraries))
		e := entries[i][rng.IntN(len(entries[i]))]
		s, err := k.Make(rng, b.libraries[i], e)
		if errors.Is(err, slip.ErrNoOccasion) {
			continue
		}
		if err != nil {
			return row, fmt.Errorf("slip %s in %s: %w", k.Name, e.Name(), err)
		}
		o, err := b.judge(ctx, i, e, s)
		if err != nil {
			return row, fmt.Errorf("slip %s in %s (%s): %w", k.Name, e.Name(), s.What, err)
		}
		row.count(o)
		if b.keep && o.verdict == oracle.Changed && o.alone.Rank() < specdata.Warning.Rank() {
			row.Missed = append(row.Missed, Miss{Record: s.Original, What: s.What, Alone: o.alone, Correction: o.redated})
		}
	}
	return row, nil
}

// judge reads a record with a slip, as the editor, CI and the server do, and runs
// the rules over everything it may touch.
func (b *bench) judge(ctx context.Context, lib int, e *library.Entry, s slip.Slip) (outcome, error) {
	base := b.libraries[lib]
	o := outcome{what: s.What, verdict: meaning(base, e.Record, s.Record)}
	var err error
	if o.alone, o.correction, err = b.worst(ctx, lib, s, s.JSON); err != nil {
		return o, err
	}
	text, err := redate(s)
	if err != nil {
		return o, err
	}
	if o.redated = o.correction; text != nil {
		_, o.redated, err = b.worst(ctx, lib, s, text)
	}
	return o, err
}

// worst returns the worst finding on a document with a slip, alone and as a correction.
func (b *bench) worst(ctx context.Context, lib int, s slip.Slip, text []byte) (alone, correction specdata.Severity, err error) {
	base := b.libraries[lib]
	doc, _ := document.Read(string(s.Name)+".json", text)
	if doc == nil {
		return specdata.Error, specdata.Error, nil // refused by reading
	}
	l := library.Overlay(base, library.NewEntry(doc))
	only := lint.Affected(l, []specdata.Name{s.Name})
	if s.Name == s.Original {
		only = append(only, lint.Affected(base, []specdata.Name{s.Name})...)
	}
	rep, err := lint.Run(ctx, lint.Options{Rules: b.rules, Library: l, Old: base, Only: only, Date: day})
	if err != nil {
		return "", "", err
	}
	for _, f := range rep.Findings {
		if f.Waived != "" || b.known[lib][f.Identity] {
			continue
		}
		if f.Severity.Rank() > correction.Rank() {
			correction = f.Severity
		}
		if !b.aboutChange(f.Rule) && f.Severity.Rank() > alone.Rank() {
			alone = f.Severity
		}
	}
	return alone, correction, nil
}

// aboutChange reports whether a rule judges changes and not records.
func (b *bench) aboutChange(name string) bool {
	i := slices.IndexFunc(b.rules, func(r *lint.Rule) bool { return r.Name == name })
	return i >= 0 && b.rules[i].Record == nil
}

// redate returns the document with a new day on its citation, nil where it has none.
func redate(s slip.Slip) ([]byte, error) {
	f, ok := s.Record.(*specdata.Fastener)
	if !ok || f.Source == nil || s.Name != s.Original {
		return nil, nil
	}
	source := *f.Source
	source.ReadOn = "2026-11-24"
	c := *f
	c.Source = &source
	return json.Marshal(&c)
}

// meaning asks whether a slip changes what a record means. A fastener record that
// differs means something else, whatever field it is; a procedure is for the oracle.
func meaning(l library.Library, before, after specdata.Record) oracle.Verdict {
	p, ok := before.(*specdata.Procedure)
	if !ok {
		return oracle.Changed
	}
	return oracle.Judge(l, p, after.(*specdata.Procedure))
}
