package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/pflag"
)

func helpCommand() *command {
	return &command{
		name: "help", args: "[COMMAND...]", summary: "show what a command does",
		examples: []string{"proofload help", "proofload help lint", "proofload help new fastener"},
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
					return usagef("help %s: %q is not part of it", c.path, rest[0])
				}
				c.help(e.stdout)
				return nil
			}
		},
	}
}

const (
	helpWidth = 100
	// flagColumn is the widest a flag may be before its text begins on the next line.
	flagColumn = 26
)

// help shows examples before flags.
func (c *command) help(w io.Writer) {
	fmt.Fprintf(w, "%s: %s\n", c.path, c.summary)
	if len(c.examples) > 0 {
		fmt.Fprint(w, "\nExamples:\n")
		for _, ex := range c.examples {
			fmt.Fprintf(w, "  %s\n", ex)
		}
	}
	if c.setup != nil {
		synopsis := strings.TrimSpace("proofload " + c.path + " " + c.args)
		if len(c.flags()) > 0 {
			synopsis += " [flags]"
		}
		fmt.Fprintf(w, "\nUsage: %s\n", synopsis)
		if flags := c.flags(); len(flags) > 0 {
			fmt.Fprint(w, "\nFlags:\n")
			printFlags(w, flags)
		}
	}
	if c.sub != nil {
		c.helpSub(w)
	}
	for _, n := range c.notes {
		fmt.Fprintf(w, "\n%s\n", filled(n))
	}
}

// everywhere are the flags that say where a command works; they stand below its list once.
var everywhere = []string{"library", "demo", "server", "token-file"}

// helpSub lists the commands below c, each with the names of its flags, and what the
// flags mean once.
func (c *command) helpSub(w io.Writer) {
	fmt.Fprint(w, "\nCommands:\n")
	var all []*pflag.Flag
	for _, s := range c.sub {
		line := strings.TrimSpace(s.name + " " + s.args)
		for _, f := range s.flags() {
			if sign, _ := flagSign(f); !slices.Contains(everywhere, f.Name) && !strings.Contains(s.args, "--"+f.Name) && (f.Shorthand == "" || !strings.Contains(s.args, "-"+f.Shorthand+" ")) {
				line += " [" + sign + "]"
			}
			if !slices.ContainsFunc(all, func(o *pflag.Flag) bool { return o.Name == f.Name && o.Usage == f.Usage }) {
				all = append(all, f)
			}
		}
		for i, l := range wrapped(line, helpWidth-6) {
			fmt.Fprintf(w, "  %s%s\n", strings.Repeat(" ", min(i, 1)*4), l)
		}
		fmt.Fprintf(w, "      %s\n", s.summary)
	}
	if len(all) > 0 {
		fmt.Fprint(w, "\nFlags of these commands:\n")
		printFlags(w, all)
	}
}

// flags returns the flags of a command in the order in which they are declared.
func (c *command) flags() []*pflag.Flag {
	if c.setup == nil {
		return nil
	}
	fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
	fs.SortFlags = false
	c.setup(fs)
	var out []*pflag.Flag
	fs.VisitAll(func(f *pflag.Flag) { out = append(out, f) })
	return out
}

// examplesOf returns the examples that run the command of a name below c.
func (c *command) examplesOf(name string) []string {
	var out []string
	for _, ex := range c.examples {
		if strings.HasPrefix(ex+" ", "proofload "+c.path+" "+name+" ") {
			out = append(out, ex)
		}
	}
	return out
}

// flagSign returns a flag as it is typed, and what it means.
func flagSign(f *pflag.Flag) (sign, usage string) {
	name, usage := pflag.UnquoteUsage(f)
	sign = "--" + f.Name
	switch {
	case f.NoOptDefVal != "":
	case name == f.Value.Type() || name == "string" || name == "strings": // the usage names no value
		sign += " " + strings.ToUpper(f.Name)
	default:
		sign += " " + name
	}
	return sign, usage
}

func printFlags(w io.Writer, flags []*pflag.Flag) {
	for _, f := range flags {
		sign, usage := flagSign(f)
		if f.DefValue != "" && f.DefValue != "[]" && f.DefValue != "false" && f.DefValue != "0" {
			usage += " (default " + f.DefValue + ")"
		}
		short := "    "
		if f.Shorthand != "" {
			short = "-" + f.Shorthand + ", "
		}
		text := wrapped(usage, helpWidth-flagColumn-8)
		if len(sign) > flagColumn {
			fmt.Fprintf(w, "  %s%s\n", short, sign)
		} else {
			fmt.Fprintf(w, "  %s%-*s  %s\n", short, flagColumn, sign, text[0])
			text = text[1:]
		}
		for _, l := range text {
			fmt.Fprintf(w, "  %s  %s\n", strings.Repeat(" ", flagColumn+4), l)
		}
	}
}

// filled sets a paragraph in lines of the width of help; lines that are indented or
// empty stay as they are.
func filled(text string) string {
	var out, run []string
	flush := func() {
		if run != nil {
			out = append(out, wrapped(strings.Join(run, " "), helpWidth)...)
		}
		run = nil
	}
	for _, l := range strings.Split(text, "\n") {
		if l == "" || strings.HasPrefix(l, " ") {
			flush()
			out = append(out, l)
			continue
		}
		run = append(run, l)
	}
	flush()
	return strings.Join(out, "\n")
}

// wrapped breaks a text into lines of at most width characters where its words allow.
func wrapped(text string, width int) []string {
	lines := []string{""}
	for _, word := range strings.Fields(text) {
		last := &lines[len(lines)-1]
		switch {
		case *last == "":
			*last = word
		case len([]rune(*last))+1+len([]rune(word)) > width:
			lines = append(lines, word)
		default:
			*last += " " + word
		}
	}
	return lines
}
