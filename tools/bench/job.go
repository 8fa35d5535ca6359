package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"proofload/specdata"
	"proofload/specdata/demo"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
)

// jobOf returns a procedure of n steps: the longest of the demo library, from its
// beginning again where it is too short.
func jobOf(lib library.Library, n int) *specdata.Procedure {
	var longest *specdata.Procedure
	for e := range lib.All(specdata.KindProcedure) {
		p := e.Record.(*specdata.Procedure)
		repeats := slices.ContainsFunc(p.Steps, func(s specdata.Step) bool { return s.Repeat != nil })
		if !repeats && (longest == nil || len(p.Steps) > len(longest.Steps)) {
			longest = p
		}
	}
	p := *longest
	p.Steps = nil
	for i := range n {
		s := longest.Steps[i%len(longest.Steps)]
		s.ID = fmt.Sprintf("%s-%d", s.ID, i)
		p.Steps = append(p.Steps, s)
	}
	return &p
}

// running makes a side of dry runs of a procedure, counted in its steps.
func running(lib library.Library, p *specdata.Procedure, times int) side {
	return batch(times*len(p.Steps), func(context.Context) error {
		for range times {
			if r := dryrun.Run(lib, p); len(r.Outcomes) == 0 {
				return errors.New("dry run covers no variant")
			}
		}
		return nil
	})
}

func dryRun(ctx context.Context, w *world) (measured, error) {
	lib, err := demo.Library()
	if err != nil {
		return measured{}, err
	}
	p := jobOf(lib, 40)
	run := running(lib, p, 1)
	m, err := w.each(ctx, time.Microsecond, func(ctx context.Context, _ int) (time.Duration, error) {
		_, took, err := run(ctx)
		return took, err
	})
	m.note = fmt.Sprintf("%d variants, %d acts", len(dryrun.Variants(lib, p)), len(dryrun.Run(lib, p).Outcomes[0].Acts))
	return m, err
}

func dryRunLinear(ctx context.Context, w *world) (measured, error) {
	lib, err := demo.Library()
	if err != nil {
		return measured{}, err
	}
	// As many steps a round on both sides.
	return w.duel(ctx, running(lib, jobOf(lib, 400), 10), running(lib, jobOf(lib, 40), 100))
}
