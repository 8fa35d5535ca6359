// Faultbench makes seeded, realistic slips in clean records and prints which of
// them the rules catch, kind by kind, and what the rules cry wolf on. It is the
// honest measure of the rules:
//
//	go run ./tools/faultbench                 # the demo library and variations of it
//	go run ./tools/faultbench -n 20 -seed 7   # fewer slips of each kind, other chance
//	go run ./tools/faultbench -missed         # and every slip that was missed
//	go run ./tools/faultbench -json
//
// Same seed, same table. Every slip is judged three times: as the record alone, the
// way a folder is linted; as a correction of the clean record, the way the server
// judges one before review, where rules that compare old and new speak too; and as
// a correction whose author put a new day on the citation.
//
// A slip that changes nothing (two acts that touch nothing in common change places)
// is told apart by package oracle, which is no linter; one that nothing in the
// records can judge (an inspection is lost) is counted apart, as not judged.
package main

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"
	"os/signal"

	"proofload/specdata/demo"
	"proofload/tools/faultbench/measure"
	"proofload/tools/lint/rules"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx, os.Args[1:], os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, "faultbench:", err)
		os.Exit(1)
	}
}

func run(ctx context.Context, args []string, out io.Writer) error {
	flags := flag.NewFlagSet("faultbench", flag.ContinueOnError)
	seed := flags.Uint64("seed", 1, "seed of all chance; the same seed gives the same table")
	n := flags.Int("n", 60, "slips of each kind, at most")
	variations := flags.Int("variations", 4, "clean variations of the demo library beside it")
	missed := flags.Bool("missed", false, "list the slips that no error or warning reports")
	asJSON := flags.Bool("json", false, "print JSON")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if *n < 1 || *variations < 0 {
		return fmt.Errorf("-n is %d and -variations %d; allowed: from 1, and from 0", *n, *variations)
	}
	lib, err := demo.Library()
	if err != nil {
		return err
	}
	rep, err := measure.Run(ctx, measure.Options{Seed: *seed, N: *n, Variations: *variations, Rules: rules.All, Library: lib, Missed: *missed})
	if err != nil {
		return err
	}
	if *asJSON {
		e := json.NewEncoder(out)
		e.SetIndent("", "  ")
		return e.Encode(rep)
	}
	return rep.Text(out)
}
