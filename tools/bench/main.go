// Command bench measures how fast the product is, each thing beside a ceiling
// measured in the same run: the least that anything doing the job has to do.
//
//	go run ./tools/bench
//	go run ./tools/bench -lines cold -records 1000000
//
// Figures of one machine say little; the ratios are what to compare. Ours and the
// ceiling take turns, in shuffled order, and share the processors with their callers:
// everything runs in one process over loopback, but for the lines about starting and
// memory, which run the service in a process of its own.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"regexp"
	"runtime"
	"runtime/pprof"
	"time"
)

func main() {
	if err := dispatch(os.Args[1:]); err != nil {
		fmt.Fprintln(os.Stderr, "bench:", err)
		os.Exit(1)
	}
}

// dispatch measures, or is the service that another process measures.
func dispatch(args []string) error {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if file, ok := serving(args); ok {
		return serve(ctx, file, os.Stdin, os.Stdout)
	}
	return run(ctx, args, os.Stdout, os.Stderr)
}

// config is what the command line says.
type config struct {
	lines   *regexp.Regexp
	seconds float64
	records int
	seed    uint64
	dir     string
	json    bool
	profile string
}

func parse(args []string, out io.Writer) (config, error) {
	c := config{}
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	flags.SetOutput(out)
	pattern := flags.String("lines", "", "measure only the lines whose name matches this `pattern`")
	flags.Float64Var(&c.seconds, "seconds", 7, "measure each line for about this `time` in seconds, three rounds at least")
	flags.IntVar(&c.records, "records", 0, "size of the libraries in `records`; 0 leaves each line its own")
	flags.Uint64Var(&c.seed, "seed", 1, "seed of the generated libraries and of the order of the rounds")
	flags.StringVar(&c.dir, "dir", ".data", "`folder` for the stores, which are removed afterwards; it decides which disk is measured")
	flags.BoolVar(&c.json, "json", false, "print JSON instead of a table")
	flags.StringVar(&c.profile, "cpuprofile", "", "write a profile of the whole run, callers and ceilings included, to this `file`")
	flags.Usage = func() {
		fmt.Fprint(out, "Measures how fast the product is, each thing beside a ceiling of the same run.\n\nUsage: go run ./tools/bench [flags]\n\n")
		flags.PrintDefaults()
		fmt.Fprint(out, "\nLines:\n")
		for _, l := range lines {
			fmt.Fprintf(out, "  %-14s %s\n", l.name, l.what)
		}
	}
	if err := flags.Parse(args); err != nil {
		return c, err
	}
	var err error
	switch {
	case flags.NArg() > 0:
		return c, fmt.Errorf("argument %q is not understood; everything is said by flags, -help lists them", flags.Arg(0))
	case !(c.seconds > 0 && c.seconds <= 3600):
		return c, fmt.Errorf("-seconds %g is out of range; allowed: above 0, up to 3600", c.seconds)
	case c.records < 0 || c.records > 2_000_000:
		return c, fmt.Errorf("-records %d is out of range; allowed: 1 to 2000000, 0 for each line's own", c.records)
	}
	if c.lines, err = regexp.Compile(*pattern); err != nil {
		return c, fmt.Errorf("-lines %q is not a pattern: %w", *pattern, err)
	}
	return c, nil
}

func run(ctx context.Context, args []string, out, progress io.Writer) (err error) {
	c, err := parse(args, progress)
	switch {
	case errors.Is(err, flag.ErrHelp):
		return nil
	case err != nil:
		return err
	}
	if c.profile != "" {
		f, err := os.Create(c.profile)
		if err != nil {
			return err
		}
		defer f.Close()
		if err := pprof.StartCPUProfile(f); err != nil {
			return err
		}
		defer pprof.StopCPUProfile()
	}
	w, err := newWorld(c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, w.close()) }()
	begin := time.Now()
	var rows []row
	for _, l := range lines {
		if !c.lines.MatchString(l.name) {
			continue
		}
		if l.system != "" && l.system != runtime.GOOS {
			fmt.Fprintf(progress, "%s can be measured on %s only\n", l.name, l.system)
			continue
		}
		fmt.Fprintf(progress, "%s ...\n", l.name)
		r, err := l.measure(ctx, w)
		if err != nil {
			return fmt.Errorf("line %s: %w", l.name, err)
		}
		rows = append(rows, l.row(r))
	}
	if len(rows) == 0 {
		return fmt.Errorf("-lines %q matches no line; -help lists them", c.lines)
	}
	if c.json {
		return writeJSON(out, c, rows)
	}
	return writeTable(out, c, rows, time.Since(begin))
}
