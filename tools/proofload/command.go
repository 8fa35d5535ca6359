package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/specdata"
)

// The exit codes. There are no others, whatever the command and the format.
const (
	exitClean    = 0 // nothing found at or above --fail-on; the command did what it was asked
	exitFindings = 1 // findings at or above --fail-on
	exitUsage    = 2 // the command line, a baseline or a house rule is wrong
	exitBroken   = 3 // could not run: a file, git, the network, an interruption
)

// errFindings says that the command ran and found something; it has been printed.
var errFindings = errors.New("findings")

// usageError is a mistake on the command line or in a file that configures the run.
type usageError struct{ message string }

func (e *usageError) Error() string { return e.message }

func usagef(format string, args ...any) error {
	return &usageError{fmt.Sprintf(format, args...)}
}

// command is one line of the command table. To add a command write its file and
// put it in commands.
type command struct {
	name string
	// path is the name with those of the commands above it; named sets it.
	path string
	// args is the synopsis of the arguments, flags apart.
	args    string
	summary string
	// examples are shown first: people copy before they read.
	examples []string
	// notes are paragraphs below the flags.
	notes []string
	// setup declares the flags and returns what the command does with its arguments.
	setup func(*pflag.FlagSet) action
	sub   []*command
}

type action func(ctx context.Context, e *env, args []string) error

// commands lists the commands in the order help shows them.
func commands() []*command {
	return []*command{
		newCommand(), schemaCommand(), lintCommand(), baselineCommand(), explainCommand(), rulesCommand(), witnessesCommand(),
		jointCommand(), showCommand(), runCommand(), draftCommand(), sheetCommand(), composeCommand(), narrationCommand(),
		correctCommand(), reviewCommand(), jobCommand(), tokenCommand(), keyCommand(),
		importCommand(), exportCommand(), diffCommand(), logCommand(), releaseCommand(), verifyCommand(), witnessCommand(), backupCommand(), restoreCommand(), copyCommand(), doctorCommand(), versionCommand(), helpCommand(),
	}
}

// run carries out a command line and returns the exit code.
func run(ctx context.Context, e *env, args []string) int {
	err := dispatch(ctx, e, args)
	if ctx.Err() != nil && err != nil {
		err = errors.New("interrupted; nothing is decided")
	}
	var usage *usageError
	switch {
	case err == nil:
		return exitClean
	case errors.Is(err, errFindings):
		return exitFindings
	case errors.As(err, &usage):
		fmt.Fprintf(e.stderr, "proofload: %v\n", err)
		return exitUsage
	default:
		fmt.Fprintf(e.stderr, "proofload: %v\n", err)
		return exitBroken
	}
}

func dispatch(ctx context.Context, e *env, args []string) error {
	if len(args) == 0 {
		overview(e.stdout)
		return nil
	}
	if slices.Contains([]string{"-h", "--help", "-help"}, args[0]) {
		args = append([]string{"help"}, args[1:]...)
	}
	c, rest, err := named(commands(), "", args)
	if err != nil {
		return err
	}
	return c.execute(ctx, e, rest)
}

// named returns the command that the first words name and what follows them.
func named(table []*command, above string, args []string) (*command, []string, error) {
	for _, c := range table {
		if c.name != args[0] {
			continue
		}
		c.path = above + c.name
		if c.sub == nil || len(args) > 1 && isHelp(args[1]) {
			return c, args[1:], nil
		}
		if c.setup != nil && (len(args) == 1 || !slices.Contains(names(c.sub), args[1])) {
			return c, args[1:], nil // it does something by itself as well
		}
		if len(args) == 1 {
			return nil, nil, usagef("%s%s needs one of: %s", above, c.name, strings.Join(names(c.sub), ", "))
		}
		for _, s := range c.sub {
			if s.examples == nil {
				s.examples = c.examplesOf(s.name)
			}
		}
		return named(c.sub, c.path+" ", args[1:])
	}
	return nil, nil, usagef("%q is no command%s; commands: %s", above+args[0], specdata.DidYouMean(args[0], slices.Values(names(table))), strings.Join(names(table), ", "))
}

func isHelp(arg string) bool { return arg == "-h" || arg == "--help" }

func names(table []*command) []string {
	out := make([]string, len(table))
	for i, c := range table {
		out[i] = c.name
	}
	return out
}

func (c *command) execute(ctx context.Context, e *env, args []string) error {
	fs := pflag.NewFlagSet(c.path, pflag.ContinueOnError)
	fs.SetOutput(io.Discard)
	fs.SortFlags = false
	var do action
	if c.setup != nil {
		do = c.setup(fs)
	}
	err := fs.Parse(args)
	if errors.Is(err, pflag.ErrHelp) || do == nil {
		c.help(e.stdout)
		return nil
	}
	if err != nil {
		return flagError(fs, err)
	}
	return do(ctx, e, fs.Args())
}

// flagError puts what the flag library says into our words, with the nearest flag.
func flagError(fs *pflag.FlagSet, err error) error {
	var unknown *pflag.NotExistError
	if errors.As(err, &unknown) {
		var all []string
		fs.VisitAll(func(f *pflag.Flag) { all = append(all, f.Name) })
		name := unknown.GetSpecifiedName()
		if near := specdata.Nearest(name, slices.Values(all)); near != "" {
			return usagef("%s has no flag --%s; did you mean --%s?", fs.Name(), name, near)
		}
		return usagef("%s has no flag --%s; proofload help %s lists its flags", fs.Name(), name, fs.Name())
	}
	var value *pflag.ValueRequiredError
	if errors.As(err, &value) {
		return usagef("flag --%s of %s needs a value", value.GetSpecifiedName(), fs.Name())
	}
	var invalid *pflag.InvalidValueError
	if errors.As(err, &invalid) {
		return usagef("flag --%s of %s: %v", invalid.GetFlag().Name, fs.Name(), errors.Unwrap(err))
	}
	return usagef("%v", err)
}

// overview is what the program says about itself.
func overview(w io.Writer) {
	fmt.Fprint(w, "proofload checks fastener records and repair procedures before anyone relies on them.\n\nStart here:\n")
	for _, l := range []string{
		"proofload lint                       check the library around the current folder",
		"proofload explain torque-over-yield  what a rule finds, why, and how to mend it",
		`proofload joint M10x1.25 10.9 --torque "62 N.m"`,
	} {
		fmt.Fprintf(w, "  %s\n", l)
	}
	fmt.Fprint(w, "\nCommands:\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-10s %s\n", c.name, c.summary)
	}
	fmt.Fprint(w, "\nproofload help COMMAND shows examples, flags and exit codes.\n"+disclaimer)
}

const disclaimer = "The vehicle maker's information, local codes and licensed practice come first.\n"
