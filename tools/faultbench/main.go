// Faultbench is the honest measure of the rules: it takes a clean library, makes
// the slips that people make, one at a time, and counts which of them the rules
// report, and what they report where there is no slip.
//
// Every slip is judged twice: as the record alone, the way a folder is linted, and
// as a correction of the clean record, the way the server judges one before review,
// where rules that compare old and new speak too.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"
	"text/tabwriter"
	"time"

	"proofload/specdata/demo"
	"proofload/specdata/library"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintf(os.Stderr, "faultbench: %v\n", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out io.Writer) error {
	fs := flag.NewFlagSet("faultbench", flag.ContinueOnError)
	seed := fs.Uint64("seed", 1, "seed; the same seed gives the same table")
	n := fs.Int("n", 20, "slips of each kind, at most")
	asJSON := fs.Bool("json", false, "print JSON")
	missed := fs.Bool("missed", false, "list the slips that no error or warning reports")
	if err := fs.Parse(args); err != nil {
		return err
	}
	lib, err := demo.Library()
	if err != nil {
		return err
	}
	t, err := measure(ctx, lib, *seed, *n, day)
	if err != nil {
		return err
	}
	if *asJSON {
		enc := json.NewEncoder(out)
		enc.SetIndent("", "  ")
		return enc.Encode(t)
	}
	t.print(out, *missed)
	return nil
}

// day is what the runs are for: the demo library's waivers and dates are as of it.
var day = time.Date(2026, 11, 25, 0, 0, 0, 0, time.UTC)

// Tally is what came of one kind of slip.
type Tally struct {
	Kind string `json:"kind"`
	What string `json:"what"`
	// Tried counts the slips that change the meaning of a record.
	Tried int `json:"tried"`
	// Refused counts those that are no valid document any more; they count as caught.
	Refused int `json:"refused"`
	// Alone counts those that an error or warning on the record reports, Advised
	// those that only advice does, Correction those that an error or warning reports
	// when the slip is proposed as a correction of the clean record.
	Alone      int      `json:"alone"`
	Advised    int      `json:"advised"`
	Correction int      `json:"correction"`
	Missed     []string `json:"missed,omitempty"`
}

// Table is a whole run.
type Table struct {
	Seed  uint64  `json:"seed"`
	Slips []Tally `json:"slips"`
	// Harmless are edits that change no meaning: whatever is reported is a false alarm.
	Harmless []Tally `json:"harmless"`
	// Clean is the number of records of the untouched library, False the number of
	// errors and warnings on them.
	Clean int `json:"clean"`
	False int `json:"false"`
}

func (t *Table) print(out io.Writer, missed bool) {
	w := tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	fmt.Fprintf(w, "slip\ttried\trefused\talone\tadvice only\tas correction\trecall\n")
	var sum Tally
	for _, s := range t.Slips {
		fmt.Fprintf(w, "%s\t%d\t%d\t%d\t%d\t%d\t%s\n", s.Kind, s.Tried, s.Refused, s.Alone, s.Advised, s.Correction, share(s.Correction, s.Tried))
		sum.Tried += s.Tried
		sum.Refused += s.Refused
		sum.Alone += s.Alone
		sum.Advised += s.Advised
		sum.Correction += s.Correction
	}
	fmt.Fprintf(w, "all\t%d\t%d\t%d\t%d\t%d\t%s\n", sum.Tried, sum.Refused, sum.Alone, sum.Advised, sum.Correction, share(sum.Correction, sum.Tried))
	fmt.Fprintf(w, "\t\t\t%s\t\t%s\t\n", share(sum.Alone, sum.Tried), share(sum.Correction, sum.Tried))
	w.Flush()
	fmt.Fprintf(out, "\nfalse alarms, error or warning\n")
	w = tabwriter.NewWriter(out, 0, 4, 2, ' ', 0)
	fmt.Fprintf(w, "untouched records\t%d of %d\n", t.False, t.Clean)
	for _, s := range t.Harmless {
		fmt.Fprintf(w, "%s\t%d of %d\n", s.Kind, s.Correction, s.Tried)
	}
	w.Flush()
	if !missed {
		return
	}
	for _, s := range t.Slips {
		for _, m := range s.Missed {
			fmt.Fprintf(out, "missed: %s: %s\n", s.Kind, m)
		}
	}
}

func share(n, of int) string {
	if of == 0 {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", 100*float64(n)/float64(of))
}

// source is where slips draw other records from.
type source = *library.Memory
