package main

import (
	"context"

	"github.com/spf13/pflag"
)

func helpCommand() *command {
	return &command{
		name: "help", args: "[COMMAND]", summary: "show what a command does",
		examples: []string{"proofload help", "proofload help lint"},
		setup: func(*pflag.FlagSet) action {
			return func(_ context.Context, e *env, args []string) error {
				if len(args) == 0 {
					overview(e.stdout)
					return nil
				}
				c, rest, err := named(commands(), "", append(args, "--help"))
				if err != nil {
					return err
				}
				if len(rest) > 1 {
					return usagef("help %s: %q is not part of it", c.name, rest[0])
				}
				c.help(e.stdout)
				return nil
			}
		},
	}
}
