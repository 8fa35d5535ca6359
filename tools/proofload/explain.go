package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/tools/lint"
)

func explainCommand() *command {
	return &command{
		name: "explain", args: "RULE", summary: "say what a rule finds, why it matters, how to mend it",
		examples: []string{"proofload explain torque-over-yield", "proofload explain waiver-expired"},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			return func(_ context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("explain takes the name of one rule, found %d arguments; proofload rules lists them", len(args))
				}
				all, err := everyRule(e, *from)
				if err != nil {
					return err
				}
				r, err := ruleNamed(all, args[0])
				if err != nil {
					return err
				}
				waive := "a person may waive it, with a reason and for a time"
				if r.NoWaiver {
					waive = "nobody can waive it"
				}
				fmt.Fprintf(e.stdout, "%s: %s\n%s at most; %s; since edition %s\n\n%s", r.Name, r.Title, r.Severity, waive, r.Edition, r.Doc)
				return nil
			}
		},
	}
}

func ruleNamed(all []*lint.Rule, name string) (*lint.Rule, error) {
	var known []string
	for _, r := range all {
		if r.Name == name {
			return r, nil
		}
		known = append(known, r.Name)
	}
	hint := specdata.DidYouMean(name, slices.Values(known))
	if hint == "" {
		hint = containing(name, known)
	}
	return nil, usagef("rule %q does not exist%s; proofload rules lists them", name, hint)
}

// containing suggests rules that share a word with a name no rule is near to.
func containing(name string, known []string) string {
	var hits []string
	for _, k := range known {
		if slices.ContainsFunc(strings.Split(name, "-"), func(w string) bool { return len(w) > 3 && strings.Contains(k, w) }) {
			hits = append(hits, k)
		}
	}
	if hits == nil || len(hits) > 5 {
		return ""
	}
	return "; rules that sound like it: " + strings.Join(hits, ", ")
}
