package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/dryrun"
	"proofload/specdata/library"
	"proofload/specdata/sheet"
	"proofload/specdata/whom"
	"proofload/specdata/wording"
)

func runCommand() *command {
	return &command{
		name: "run", args: "PROCEDURE", summary: "execute a procedure on its assemblies and say what is off, loose or open after each step",
		examples: []string{"proofload run quill-1-rear-hub-bearing --demo", "proofload run brindle-3-rear-axle-cover-reseal --option axle=open --demo", "proofload run procedures/dray-2-front-discs-and-pads --quiet --demo"},
		notes:    []string{"Exit codes: 0 the procedure closes for every variant, 1 it does not, 2 wrong command line, 3 could not run."},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			asked := askedFlags(fs)
			side := fs.String("side", "", "left or right, where the procedure is done on one side; either where it is absent")
			at := fs.String("at", "", "an older `MOMENT` of a server's library: position:N, time:RFC3339 or release:NAME")
			quiet := fs.Bool("quiet", false, "only what does not close, without the timeline")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("run takes one procedure, found %d arguments", len(args))
				}
				lib, now, moment, err := openLibraryAt(ctx, e, *from, *at)
				if err != nil {
					return err
				}
				p, err := procedureNamed(lib, args[0])
				if err != nil {
					return err
				}
				if *side != "" {
					if *side, err = whom.SideOf(lib, p, *side); err != nil {
						return wanted(err)
					}
				}
				variants, err := whom.Pick(lib, p, *asked)
				if err != nil {
					return wanted(err)
				}
				r := &dryrun.Result{Procedure: p}
				for _, v := range variants {
					o := dryrun.RunVariant(lib, p, v)
					r.Outcomes = append(r.Outcomes, o)
					fmt.Fprintf(e.stdout, "%s\n", p.Title)
					if moment.Old() {
						moment.Changed = nil
						for _, u := range sheet.Uses(lib, sheet.Request{Procedure: p.ID, Variant: &v}) {
							moment.Changed = append(moment.Changed, changedTo(lib, now, u.Name)...)
						}
					}
					writeFor(e.stdout, whom.OfVariant(lib, p, v, *side).At(moment))
					fmt.Fprintln(e.stdout)
					if !*quiet {
						timeline(e.stdout, lib, p, o)
					}
				}
				return verdict(e.stdout, lib, r, *side)
			}
		},
	}
}

func procedureNamed(lib *library.Memory, name string) (*specdata.Procedure, error) {
	id := strings.TrimPrefix(name, specdata.KindProcedure.Collection()+"/")
	if p := library.Procedure(lib, id); p != nil {
		return claim.Complete(p, lib), nil
	}
	return nil, usagef("procedure %q is not in the library%s", id, specdata.DidYouMean(id, library.IDs(lib, specdata.KindProcedure)))
}

func timeline(w io.Writer, lib library.Library, p *specdata.Procedure, o *dryrun.Outcome) {
	known := func(id string) *specdata.Fastener { return library.Fastener(lib, id) }
	numbers := make([]int, len(o.Timeline))
	n := 0
	for _, r := range o.Readings(p) {
		text := wording.Sentence(p, r.Step, known)
		if r.Step.Repeat != nil {
			fmt.Fprintf(w, "\n%s\n", text)
			continue
		}
		side := ""
		if side = wording.SideOf(p, r.Step, r.Side, text); side != "" {
			side += ": "
		}
		n++
		fmt.Fprintf(w, "%3d  %s%s\n", n, side, text)
		for _, note := range wording.Notes(r.Step) {
			fmt.Fprintf(w, "       %s\n", note)
		}
		for _, i := range r.Moments {
			numbers[i] = n
			moment(w, &o.Timeline[i])
		}
	}
	if len(o.Torques) > 0 {
		fmt.Fprintf(w, "\nTightening, in order of use\n")
	}
	for i, u := range o.Torques {
		f := u.Fastener
		value := wording.Stages(f.Tightening, u.Stages)
		if name := wording.StageNames(f.Tightening, u.Stages); name != "" {
			value += ", " + name
		}
		fmt.Fprintf(w, "%3d  step %-3d %-40s %s\n", i+1, numbers[u.Moment], wording.Called(f, u.Act.Side), value)
		if accept := wording.AcceptedBy(f.Tightening, u.Stages, wording.Wrench(p, u.Act.Tool, f, u.Stages)); accept != "" {
			fmt.Fprintf(w, "       accept %s\n", accept)
		}
		if tools := wording.ToolsFor(p, u.Act.Tool, f, u.Stages); tools != "" {
			fmt.Fprintf(w, "       %s\n", tools)
		}
		for _, c := range wording.Conditions(f) {
			fmt.Fprintf(w, "       %s\n", c)
		}
	}
	for i, owed := range o.Owed {
		if i == 0 {
			fmt.Fprintf(w, "\nStill due after the job\n")
		}
		fmt.Fprintf(w, "     %s\n", wording.Owed(owed.What, owed.After))
	}
	fmt.Fprintln(w)
}

// moment prints what a moment opened and closed.
func moment(w io.Writer, m *dryrun.Moment) {
	for _, x := range m.Opened {
		fmt.Fprintf(w, "       + %s\n", x.Words())
	}
	for _, x := range m.Changed {
		fmt.Fprintf(w, "       ~ %s\n", x.Words())
	}
	for _, x := range m.Closed {
		fmt.Fprintf(w, "       - %s\n", x.Words())
	}
	if m.Open > 0 {
		fmt.Fprintf(w, "       %d open\n", m.Open)
	}
}

func verdict(w io.Writer, lib library.Library, r *dryrun.Result, side string) error {
	problems := r.Problems()
	for _, p := range problems {
		fmt.Fprintf(w, "%s: %s\n", p.Pointer, p.Message())
	}
	if len(problems) > 0 {
		fmt.Fprintln(w, count(len(problems), "problem", "problems"))
		return errFindings
	}
	var names []string
	for _, o := range r.Outcomes {
		names = append(names, whom.OfVariant(lib, r.Procedure, o.Variant, side).Text())
	}
	slices.Sort(names)
	fmt.Fprintf(w, "Everything that was opened is closed, for %s.\n%s", strings.Join(names, "; "), disclaimer)
	return nil
}
