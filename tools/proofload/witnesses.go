package main

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/spf13/pflag"

	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/witness"
)

func witnessesCommand() *command {
	return &command{
		name: "witnesses", args: "[RECORD...]", summary: "say for each fact who would notice if it were wrong",
		examples: []string{
			"proofload witnesses fasteners/quill-1-rear-hub-nut --demo",
			"proofload witnesses                               # the count over the library around the current folder",
		},
		notes: []string{
			"Each fact of a fastener is changed in the ways it is misread and mistyped: factors of units\nand points, swapped digits, a digit for one that looks like it, the thread, class or hexagon\nbeside it. A mistake has a witness where an error or a warning meets it, without knowing what\nstood there before. \"read as\" means that the quote was misread with it.",
			"What stands alone wants a second reader, the second printed unit, a sibling or a pair.",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := libraryFlag(fs)
			date := dateFlag(fs)
			return func(ctx context.Context, e *env, args []string) error {
				lib, err := openLibrary(ctx, e, *from)
				if err != nil {
					return err
				}
				all, err := everyRule(e, *from)
				if err != nil {
					return err
				}
				all = slices.DeleteFunc(all, func(r *lint.Rule) bool { return r.Record == nil && r.Change == nil })
				when, err := day(e, *date)
				if err != nil {
					return err
				}
				names, err := fastenersNamed(lib, args)
				if err != nil {
					return err
				}
				facts, err := askAll(ctx, e, lib, all, when, names)
				if err != nil {
					return err
				}
				if len(args) > 0 {
					for i, name := range names {
						printFacts(e.stdout, name, facts[i])
					}
				}
				printWitnessCount(e.stdout, facts)
				return nil
			}
		},
	}
}

// fastenersNamed returns the fasteners that the arguments name, or all.
func fastenersNamed(lib library.Library, args []string) ([]specdata.Name, error) {
	var names []specdata.Name
	for _, arg := range args {
		name := specdata.Name(arg)
		if !strings.Contains(arg, "/") {
			name = specdata.NewName(specdata.KindFastener, arg)
		}
		switch {
		case name.Kind() != specdata.KindFastener:
			return nil, usagef("witnesses are asked for fasteners, found %q; write fasteners/<id>", arg)
		case lib.Get(name) == nil:
			return nil, usagef("record %s does not exist%s", name, specdata.DidYouMean(name.ID(), library.IDs(lib, specdata.KindFastener)))
		}
		names = append(names, name)
	}
	if len(args) == 0 {
		for entry := range lib.All(specdata.KindFastener) {
			names = append(names, entry.Name())
		}
	}
	return names, nil
}

// askAll asks for every record on all processors, and says how far it is.
func askAll(ctx context.Context, e *env, lib library.Library, all []*lint.Rule, when time.Time, names []specdata.Name) ([][]witness.Fact, error) {
	facts, errs := make([][]witness.Fact, len(names)), make([]error, len(names))
	var next, done atomic.Int64
	var wg sync.WaitGroup
	var saying sync.Mutex
	for range min(runtime.GOMAXPROCS(0), len(names)) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(names) || ctx.Err() != nil {
					return
				}
				facts[i], errs[i] = witness.Of(ctx, lib, all, when, names[i])
				if n := done.Add(1); n%100 == 0 {
					saying.Lock()
					fmt.Fprintf(e.stderr, "proofload: %d of %d fasteners asked\n", n, len(names))
					saying.Unlock()
				}
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return facts, nil
}

func printFacts(w io.Writer, name specdata.Name, facts []witness.Fact) {
	fmt.Fprintln(w, name)
	for _, f := range facts {
		var by []string
		for _, k := range f.Kinds() {
			by = append(by, fmt.Sprintf("%s %d", k, f.By[k]))
		}
		who := strings.Join(by, ", ")
		if who == "" {
			who = "nobody"
		}
		second := "; no second reader"
		if f.SecondReader != "" {
			second = "; second reader " + f.SecondReader
		}
		fmt.Fprintf(w, "  %s %s: %d of %d mistakes noticed (%s%s)\n", f.Name, f.Value, f.Seen, f.Tried, who, second)
		for _, u := range f.Unseen {
			fmt.Fprintf(w, "    unnoticed if %s\n", u)
		}
	}
}

func printWitnessCount(w io.Writer, facts [][]witness.Fact) {
	records, all, stand, tried, seen := len(facts), 0, 0, 0, 0
	for _, fs := range facts {
		for _, f := range fs {
			all++
			tried, seen = tried+f.Tried, seen+f.Seen
			if f.Stands() {
				stand++
			}
		}
	}
	if tried == 0 {
		fmt.Fprintln(w, "no facts to ask about")
		return
	}
	fmt.Fprintf(w, "%d fasteners, %d facts: %d have a witness for every mistake, %d for some or none; %d of %d mistakes are noticed (%.1f %%)\n",
		records, all, stand, all-stand, seen, tried, 100*float64(seen)/float64(tried))
}
