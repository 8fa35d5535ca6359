package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/pflag"

	"proofload/server/store"
	"proofload/server/store/address"
	"proofload/server/transfer"
	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/specdata/person"
	"proofload/tools/lint"
	"proofload/tools/lint/render"
	"proofload/tools/lint/rules"
)

func importCommand() *command {
	return &command{
		name: "import", args: "LIBRARY", summary: "publish a folder's records into a store, all or none, after checking them",
		examples: []string{
			"proofload import our-library --by maud --reason \"chassis sheets of 2018\"",
			"proofload import our-library --by maud --reason \"weekly\" --dry-run    # what would change, and the findings",
			"proofload import our-library --by maud --reason \"moved\" --prune       # withdraws what the folder lacks",
		},
		notes: []string{
			"Documents that the store has already are not published again; what differs becomes one\npublication. An error that no waiver accepts keeps everything out.",
			"Documents stay canonically the same; comments in YAML are not kept, and are counted.",
			"A store belongs to one process: stop the server that has it open first.",
		},
		setup: func(fs *pflag.FlagSet) action {
			o := importOptions{store: storeFlag(fs)}
			fs.StringVar(&o.by, "by", "", "`NAME` kept with every revision as its author")
			fs.StringVar(&o.reviewer, "reviewer", "", "`NAME` of who approved it")
			fs.StringVar(&o.reason, "reason", "", "why, in a sentence that readers of the history understand")
			fs.BoolVar(&o.prune, "prune", false, "also withdraw the records that the store has and the library lacks")
			fs.BoolVar(&o.dryRun, "dry-run", false, "check and tell, and publish nothing")
			o.allowEmpty, o.create = allowEmptyFlag(fs), createFlag(fs)
			o.date = dateFlag(fs)
			return o.run
		},
	}
}

type importOptions struct {
	store, date          *string
	by, reviewer, reason string
	prune, dryRun        bool
	allowEmpty, create   *bool
}

func (o *importOptions) run(ctx context.Context, e *env, args []string) error {
	if len(args) != 1 {
		return usagef("import takes one library, found %d arguments", len(args))
	}
	if o.by == "" || strings.TrimSpace(o.reason) == "" {
		return usagef("import needs --by NAME and --reason TEXT; both are kept with every revision")
	}
	for _, said := range [][2]string{{"by", o.by}, {"reviewer", o.reviewer}, {"reason", o.reason}} {
		if err := specdata.UnseenError("flag --"+said[0], said[1]); err != nil {
			return usagef("%v", err)
		}
	}
	if person.Same(o.by, o.reviewer) {
		return usagef("--by %q and --reviewer %q are one person; who approves is another", o.by, o.reviewer)
	}
	date, err := day(e, *o.date)
	if err != nil {
		return err
	}
	f, err := openNamed(e, args[0])
	if err != nil {
		return err
	}
	house, err := f.houseRules()
	if err != nil {
		return err
	}
	lib, findings, err := f.load(ctx)
	if err != nil {
		return err
	}
	all := slices.Concat(rules.All, house)
	show := func(rep *lint.Report) error {
		return stdoutError(render.Text(e.stdout, &render.Run{Version: version(), Rules: all, Report: rep}, render.TextOptions{}))
	}
	if len(findings) > 0 {
		if err := show(&lint.Report{Findings: findings, Records: lib.Len()}); err != nil {
			return err
		}
		fmt.Fprintln(e.stderr, "proofload: the library has files that cannot be read; nothing was published, mend them first")
		return errFindings
	}
	if lib.Len() == 0 && !*o.allowEmpty {
		return emptyError("library " + args[0])
	}
	s, err := openStore(ctx, *o.store, o.create)
	if err != nil {
		return err
	}
	defer s.Close()
	var rep *lint.Report
	check := func(ctx context.Context, after library.Library, changed []specdata.Name, before library.Library) ([]specdata.Finding, error) {
		lo := lint.Options{Rules: all, Library: after, Old: before, Date: date}
		// With most of a library new, asking what depends on what costs more than
		// judging everything.
		if len(changed) <= lib.Len()/2 {
			lo.Only = lint.AffectedBy(after, before, changed)
		}
		var err error
		if rep, err = lint.Run(ctx, lo); err != nil {
			return nil, err
		}
		return rep.Findings, nil
	}
	done, err := transfer.Import(ctx, s, entriesOf(lib), transfer.ImportOptions{
		Check: check, By: o.by, Reviewer: o.reviewer, Reason: o.reason, Time: e.now().UTC(), Prune: o.prune, DryRun: o.dryRun,
	})
	if rep != nil {
		if err := show(rep); err != nil {
			return err
		}
	}
	switch {
	case errors.Is(err, transfer.ErrBlocked):
		fmt.Fprintf(e.stderr, "proofload: %v\n", err)
		return errFindings
	case errors.Is(err, store.ErrConflict):
		return fmt.Errorf("somebody published meanwhile, nothing was imported; import again (%w)", err)
	case err != nil:
		return fmt.Errorf("import failed: %w", err)
	}
	if !o.dryRun {
		if err := transfer.KeepWords(ctx, s, lib.Words(), e.now().UTC()); err != nil {
			return fmt.Errorf("records are imported, the library's own words are not: %w", err)
		}
	}
	o.tell(e, done, f)
	return nil
}

func entriesOf(lib *library.Memory) []*library.Entry {
	var entries []*library.Entry
	for _, k := range specdata.Kinds {
		entries = slices.AppendSeq(entries, lib.All(k))
	}
	return entries
}

func (o *importOptions) tell(e *env, done *transfer.Imported, f *folder) {
	for _, part := range []struct {
		mark  string
		names []specdata.Name
	}{{"+", done.Added}, {"~", done.Changed}, {"-", done.Withdrawn}} {
		for _, n := range part.names {
			fmt.Fprintf(e.stdout, "%s %s\n", part.mark, n)
		}
	}
	what := fmt.Sprintf("published at position %d", done.Position)
	switch {
	case len(done.Added)+len(done.Changed)+len(done.Withdrawn) == 0:
		what = fmt.Sprintf("nothing to publish, the store is at position %d", done.Position)
	case o.dryRun:
		what = "would be published"
	}
	fmt.Fprintf(e.stdout, "%d added, %d changed, %d withdrawn, %d unchanged: %s\n", len(done.Added), len(done.Changed), len(done.Withdrawn), done.Unchanged, what)
	if n := f.comments(); n > 0 {
		fmt.Fprintf(e.stderr, "proofload: %s not kept in the store; what readers must know belongs in a note\n", count(n, "comment in a YAML file is", "comments in YAML files are"))
	}
}

// comments counts the comments of the files that were read.
func (f *folder) comments() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	n := 0
	for _, r := range f.read {
		if r.doc != nil {
			n += len(r.doc.Comments())
		}
	}
	return n
}

func storeFlag(fs *pflag.FlagSet) *string {
	return fs.String("store", "sqlite:.data/proofload.db", "`STORE` of the records, sqlite:FILE or postgres://USER@HOST/DATABASE")
}

// openStore opens a store that the command line names. A file that is not there is a
// mistake and not a new store, unless create, where a command has it, asks for one.
func openStore(ctx context.Context, name string, create *bool) (store.Store, error) {
	a, err := address.Parse(name)
	if err != nil {
		return nil, usagef("flag --store: %v", err)
	}
	fresh := create != nil && *create
	open := a.OpenExisting
	if file, ok := a.File(); ok {
		look := file
		if fresh {
			look, open = filepath.Dir(file), a.Open
		}
		if _, err := os.Stat(look); err != nil {
			err = pathError("store", look, err)
			if create != nil && !fresh {
				err = usagef("%v; --create makes a new store", err)
			}
			return nil, err
		}
	}
	return open(ctx)
}

// createFlag asks for a new store where there is none.
func createFlag(fs *pflag.FlagSet) *bool {
	return fs.Bool("create", false, "make a new store where there is none")
}
