package main

import (
	"context"
	"fmt"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/claim"
	"proofload/specdata/lexicon"
	"proofload/specdata/whom"
)

func composeCommand() *command {
	return &command{
		name: "compose", args: "PROCEDURE", summary: "offer a sentence for each step, composed from its acts",
		examples: []string{
			"proofload compose quill-1-rear-hub-bearing --demo                  # every step, as lines to paste",
			"proofload compose quill-1-rear-hub-bearing --step carrier-tighten --demo",
		},
		notes: []string{"A composed sentence says exactly what the acts do, with placeholders for values. It is a start: a sentence of your own is fine as long as it contradicts nothing and leaves no act unsaid, which lint checks."},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			only := fs.String("step", "", "the `ID` of one step")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("compose takes one procedure, found %d arguments", len(args))
				}
				lib, err := openLibrary(ctx, e, *from)
				if err != nil {
					return err
				}
				p, err := procedureNamed(lib, args[0])
				if err != nil {
					return err
				}
				for _, line := range whom.OfProcedure(lib, p).Lines() {
					fmt.Fprintf(e.stdout, "# %s\n", line)
				}
				w := claim.New(p, lib, lexicon.Default(), "")
				found := false
				for i := range p.Steps {
					s := &p.Steps[i]
					if *only != "" && s.ID != *only {
						continue
					}
					found = true
					text := w.Compose(i)
					if text == "" {
						fmt.Fprintf(e.stdout, "# %s has no acts to say\n", s.ID)
						continue
					}
					fmt.Fprintf(e.stdout, "- id: %s\n  text: %q\n", s.ID, text)
				}
				if !found {
					return usagef("step %q is not in procedure %s%s", *only, p.ID, specdata.DidYouMean(*only, p.StepIDs()))
				}
				return nil
			}
		},
	}
}
