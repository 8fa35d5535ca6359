package main

import (
	"bytes"
	"context"
	"fmt"
	"os"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/tools/lint/baseline"
)

func baselineCommand() *command {
	return &command{
		name: "baseline", args: "COMMAND", summary: "keep the findings that were there before checks began",
		examples: []string{
			"proofload baseline update known.txt    # once, when a library begins to be checked",
			"proofload lint --baseline known.txt    # from then on: only new findings count",
			"proofload baseline prune known.txt     # after mending: takes out what is gone",
		},
		notes: []string{
			"An entry is a finding by its identity: it follows the record when files move, and it is gone\nwhen the value changes. A stale entry fails lint, so a baseline only shrinks. Commit the file.",
			"Files that cannot be read and waived findings are never part of a baseline.",
		},
		sub: []*command{
			baselineSub("update", "write the findings of now to FILE, whatever it held", func(now, _ *baseline.Baseline) *baseline.Baseline { return now }),
			baselineSub("prune", "take out of FILE what is not found any more; never adds", func(now, old *baseline.Baseline) *baseline.Baseline {
				keep := map[string]bool{}
				for _, e := range now.Entries {
					keep[e.Identity] = true
				}
				var stale []baseline.Entry
				for _, e := range old.Entries {
					if !keep[e.Identity] {
						stale = append(stale, e)
					}
				}
				return old.Without(stale)
			}),
		},
	}
}

// baselineSub makes a command that rewrites a baseline from what is found now and
// what the file held.
func baselineSub(name, summary string, next func(now, old *baseline.Baseline) *baseline.Baseline) *command {
	return &command{
		name: name, args: "FILE", summary: summary,
		setup: func(fs *pflag.FlagSet) action {
			from, date, allowEmpty := libraryFlag(fs), dateFlag(fs), allowEmptyFlag(fs)
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("baseline %s takes one file, found %d arguments", name, len(args))
				}
				old := &baseline.Baseline{}
				if _, err := os.Stat(args[0]); err == nil || name == "prune" {
					if old, err = openBaseline(args[0]); err != nil {
						return err
					}
				}
				findings, err := everyFinding(ctx, e, *from, *date, *allowEmpty)
				if err != nil {
					return err
				}
				b := next(baseline.New(findings), old)
				if err := writeFile(args[0], b.Bytes()); err != nil {
					return fmt.Errorf("baseline %s cannot be written: %w", args[0], reason(err))
				}
				fmt.Fprintf(e.stdout, "%s: %s, was %d\n", args[0], count(len(b.Entries), "entry", "entries"), len(old.Entries))
				return nil
			}
		},
	}
}

func everyFinding(ctx context.Context, e *env, from, date string, allowEmpty bool) ([]specdata.Finding, error) {
	t, err := resolve(e, from, nil)
	if err != nil {
		return nil, err
	}
	var co checkOptions
	if co.date, err = day(e, date); err != nil {
		return nil, err
	}
	run, err := check(ctx, e, t, co)
	if err != nil {
		return nil, err
	}
	if empty(run, co) && !allowEmpty {
		return nil, emptyError(t.named(nil))
	}
	return run.Report.Findings, nil
}

func openBaseline(file string) (*baseline.Baseline, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, pathError("baseline", file, err)
	}
	b, err := baseline.Read(bytes.NewReader(data), file)
	if err != nil {
		return nil, usagef("%v", err)
	}
	return b, nil
}
