package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/tools/lint/baseline"
	"proofload/tools/lint/render"
)

func lintCommand() *command {
	return &command{
		name: "lint", args: "[PATH... | -]", summary: "check documents, folders or a whole library",
		examples: []string{
			"proofload lint                                    # the library around the current folder",
			"proofload lint fasteners/quill-1-rear-hub-nut.yaml",
			"proofload lint --since origin/main                # what this branch changed, and what that touches",
			"proofload lint --report sarif=lint.sarif --report junit=lint.xml",
			"proofload lint --diff                             # what --fix would change",
			"cat draft.yaml | proofload lint -                 # as if it were in the library",
		},
		notes: []string{
			"Exit codes: 0 nothing at or above --fail-on; 1 findings; 2 the command line, a baseline\nor a house rule is wrong; 3 could not run (files, git, an interruption). No others.",
			"A path is a document, a collection or a library. Rules see the whole library even when only\na part of it is checked. CI should run the built program: go run turns every failure into 1.",
		},
		setup: func(fs *pflag.FlagSet) action {
			o := declareLintFlags(fs)
			return o.run
		},
	}
}

// lintOptions are the flags of lint.
type lintOptions struct {
	flags      *pflag.FlagSet
	library    *string
	date       *string
	color      *string
	failOn     string
	reports    []string
	baseline   string
	since      string
	fix, diff  bool
	watch      bool
	stats      bool
	notChecked bool
	why        bool
	allowEmpty *bool
}

func declareLintFlags(fs *pflag.FlagSet) *lintOptions {
	o := &lintOptions{flags: fs, library: libraryFlag(fs)}
	fs.StringVar(&o.failOn, "fail-on", "error", "exit 1 for findings of this `SEVERITY` or above: error, warning or advice")
	fs.StringArrayVar(&o.reports, "report", nil, "also write `FORMAT=FILE`: json, sarif, junit or text; - is standard output; may be repeated")
	fs.BoolVar(&o.notChecked, "not-checked", false, "list what could not be judged, and why")
	fs.BoolVar(&o.why, "why", false, "print the arithmetic of warnings and advice too; that of errors always is")
	fs.StringVar(&o.since, "since", "", "check only what changed since the merge base with a git `REVISION`, and what that touches")
	fs.StringVar(&o.baseline, "baseline", "", "leave out the findings that this `FILE` holds; see proofload help baseline")
	fs.BoolVar(&o.fix, "fix", false, "apply the fixes that findings offer, then check again")
	fs.BoolVar(&o.diff, "diff", false, "print what --fix would change, and change nothing")
	fs.BoolVar(&o.watch, "watch", false, "check again whenever a file changes, until interrupted")
	fs.BoolVar(&o.stats, "stats", false, "say where the time went")
	o.allowEmpty = allowEmptyFlag(fs)
	o.date = dateFlag(fs)
	o.color = fs.String("color", "auto", "colour text `WHEN`: auto, always or never; auto follows NO_COLOR and CLICOLOR_FORCE")
	return o
}

func dateFlag(fs *pflag.FlagSet) *string {
	return fs.String("date", "", "check as of this `DAY`, like 2027-01-31, to see what will have expired; otherwise today")
}

// day returns the day of the run.
func day(e *env, flag string) (time.Time, error) {
	if flag == "" {
		return e.now(), nil
	}
	t, err := specdata.Date(flag).Time()
	if err != nil {
		return t, usagef("flag --date: %v", err)
	}
	return t, nil
}

func (o *lintOptions) run(ctx context.Context, e *env, args []string) error {
	if err := o.check(); err != nil {
		return err
	}
	color, err := wantsColor(e, *o.color)
	if err != nil {
		return err
	}
	outputs, err := parseReports(o.reports, render.TextOptions{Color: color, NotChecked: o.notChecked, Why: o.why}, specdata.Severity(o.failOn))
	if err != nil {
		return err
	}
	co := checkOptions{time: o.stats}
	if co.date, err = day(e, *o.date); err != nil {
		return err
	}
	if co.known, err = readBaseline(o.baseline); err != nil {
		return err
	}
	co.knownFile = o.baseline
	t, err := resolve(e, *o.library, args)
	if err != nil {
		return err
	}
	if o.since != "" {
		if co.since, err = changedSince(ctx, t.folder, o.since); err != nil {
			return err
		}
		sayChanged(e, co.since)
	}
	switch {
	case o.watch:
		return o.watching(ctx, e, t, co, outputs)
	case o.diff:
		return o.showFixes(ctx, e, t, co)
	case o.fix:
		if err := applyFixes(ctx, e, t, co); err != nil {
			return err
		}
	}
	start := time.Now()
	run, err := check(ctx, e, t, co)
	if err != nil {
		return err
	}
	if empty(run, co) && !*o.allowEmpty {
		return emptyError(t.named(args))
	}
	if err := outputs.write(e, run); err != nil {
		return err
	}
	if o.stats {
		printStats(e.stderr, run, time.Since(start))
	}
	return o.verdict(run)
}

// check refuses flags that contradict each other.
func (o *lintOptions) check() error {
	if specdata.Severity(o.failOn).Rank() == 0 {
		return usagef("flag --fail-on: %q is no severity; allowed: error, warning, advice", o.failOn)
	}
	for _, pair := range [][2]string{{"fix", "diff"}, {"watch", "fix"}, {"watch", "diff"}, {"watch", "since"}} {
		if o.flags.Changed(pair[0]) && o.flags.Changed(pair[1]) {
			return usagef("flags --%s and --%s do not go together; choose one", pair[0], pair[1])
		}
	}
	return nil
}

// verdict says whether the findings stop.
func (o *lintOptions) verdict(run *render.Run) error {
	if run.Report.Worst().Rank() >= specdata.Severity(o.failOn).Rank() {
		return errFindings
	}
	return nil
}

// sayChanged says what --since found, so that a clean run of nothing is seen to be one.
func sayChanged(e *env, s *since) {
	base := s.base[:min(12, len(s.base))]
	switch {
	case s.everything:
		fmt.Fprintf(e.stderr, "proofload: a house rule or the marker changed since %s (merge base %s), so everything is checked\n", s.ref, base)
	case len(s.paths) == 1:
		fmt.Fprintf(e.stderr, "proofload: 1 document changed since %s (merge base %s)\n", s.ref, base)
	default:
		fmt.Fprintf(e.stderr, "proofload: %d documents changed since %s (merge base %s)\n", len(s.paths), s.ref, base)
	}
}

func readBaseline(file string) (*baseline.Baseline, error) {
	if file == "" {
		return nil, nil
	}
	return openBaseline(file)
}
