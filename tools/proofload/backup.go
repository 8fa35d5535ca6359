package main

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/pflag"

	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/transfer"
)

func backupCommand() *command {
	return &command{
		name: "backup", args: "FILE", summary: "copy a store to a new file, checked, while a server has it open",
		examples: []string{
			"proofload backup friday.db",
			"proofload backup friday.db --store sqlite:.data/proofload.db",
		},
		notes: []string{
			"The copy holds one moment, and everything: records with their history, corrections, tokens. It is\nchecked before it gets its name, and nothing is ever written over. To restore it: proofload restore FILE.",
			"A store in PostgreSQL is backed up with PostgreSQL's own tools, or copied: proofload copy.",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := storeFlag(fs)
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("backup takes one file, found %d arguments", len(args))
				}
				file, ok := strings.CutPrefix(*from, "sqlite:")
				if !ok || file == "" {
					return usagef("flag --store: %q cannot be backed up; allowed: sqlite:FILE", *from)
				}
				if _, err := os.Stat(file); err != nil {
					return pathError("store", file, err)
				}
				done, err := sqlite.Backup(ctx, file, args[0])
				switch {
				case errors.Is(err, store.ErrConflict):
					return usagef("%v", err)
				case err != nil:
					return err
				}
				fmt.Fprintf(e.stdout, "%s: %s, checked\n", args[0], held(done.Head, done.Root))
				return nil
			}
		},
	}
}

func copyCommand() *command {
	return &command{
		name: "copy", args: "STORE", summary: "copy everything a store holds into another store, of any kind",
		examples: []string{
			"proofload copy sqlite:new.db --create --store sqlite:.data/proofload.db",
		},
		notes: []string{
			"The log goes position by position, with times, people, reasons and keys, and the releases,\ncorrections and tokens with it. In the end both ledgers have the same root, which is compared.",
			"The other store is empty, or holds the beginning of the same history: a copy that was interrupted\ngoes on where it was.",
			"Stop the servers of both stores first.",
		},
		setup: func(fs *pflag.FlagSet) action {
			name, create := storeFlag(fs), createFlag(fs)
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("copy takes one store, found %d arguments", len(args))
				}
				from, err := openStore(ctx, *name, nil)
				if err != nil {
					return err
				}
				defer from.Close()
				to, err := openStore(ctx, args[0], create)
				if err != nil {
					return err
				}
				done, err := transfer.Copy(ctx, from, to)
				if err = errors.Join(err, to.Close()); err != nil {
					return err
				}
				fmt.Fprintf(e.stdout, "%s: %s, %s, %s\n", args[0], held(done.Head, done.Root), count(int(done.Releases), "release", "releases"), count(int(done.Notes), "note", "notes"))
				return nil
			}
		},
	}
}

// held says how much history a store holds, and which.
func held(h store.Head, root [32]byte) string {
	return fmt.Sprintf("%s, %s, root %s", count(int(h.Position), "position", "positions"), count(int(h.Revisions), "revision", "revisions"), base64.StdEncoding.EncodeToString(root[:]))
}
