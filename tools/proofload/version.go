package main

import (
	"context"
	"fmt"
	"runtime/debug"

	"github.com/spf13/pflag"

	"proofload/tools/lint/render"
	"proofload/tools/lint/rules"
)

func versionCommand() *command {
	return &command{
		name: "version", summary: "print the version and the edition of the rules",
		setup: func(*pflag.FlagSet) action {
			return func(_ context.Context, e *env, args []string) error {
				if len(args) > 0 {
					return usagef("version takes no arguments, found %q", args[0])
				}
				run := render.Run{Rules: rules.All}
				fmt.Fprintf(e.stdout, "proofload %s, rules of edition %s (%d rules)\n", version(), run.Edition(), len(rules.All))
				return nil
			}
		},
	}
}

// version returns the module's version, or "devel" for a build from a work tree.
func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" || info.Main.Version == "(devel)" {
		return "devel"
	}
	return info.Main.Version
}
