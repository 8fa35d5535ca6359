package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/pflag"

	"proofload/server/store"
	"proofload/server/transfer"
	"proofload/specdata"
	"proofload/specdata/document"
)

func exportCommand() *command {
	return &command{
		name: "export", args: "FOLDER", summary: "write a store's records into a new folder, a YAML file a record",
		examples: []string{
			"proofload export out",
			"proofload export out --at release:2026-10",
			"proofload export out --at time:2026-09-14T08:00:00Z --store sqlite:backup.db",
		},
		notes: []string{
			"The folder is a library: every command works on it, and importing it into an empty store gives\nthe same documents with the same hashes. It must not be there yet, or be empty.",
			"A store belongs to one process: stop the server that has it open first.",
		},
		setup: func(fs *pflag.FlagSet) action {
			from := storeFlag(fs)
			at := fs.String("at", "", "a `MOMENT`: position:N, time:RFC3339 or release:NAME; the newest if absent")
			name := fs.String("name", "", "short `NAME` of the library, lower-case words joined by hyphens; that of the folder if absent")
			title := fs.String("title", "", "name of the library for people")
			notice := fs.String("notice", "", "what every reader of the library must be told")
			return func(ctx context.Context, e *env, args []string) error {
				if len(args) != 1 {
					return usagef("export takes one folder, found %d arguments", len(args))
				}
				moment, err := store.ParseAt(*at)
				if err != nil {
					return usagef("flag --at: %v", err)
				}
				s, err := openStore(ctx, *from, true)
				if err != nil {
					return err
				}
				defer s.Close()
				position, err := s.Resolve(ctx, moment)
				switch {
				case errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrFuture):
					return usagef("flag --at: %v", err)
				case err != nil:
					return err
				}
				m := document.Marker{Library: *name, Title: *title, Notice: *notice}
				if m.Library == "" {
					m.Library = filepath.Base(args[0])
					if !specdata.ValidID(m.Library) {
						m.Library = "library"
					}
				}
				if m.Title == "" {
					m.Title = fmt.Sprintf("Export of position %d", position)
				}
				n, err := transfer.Export(ctx, s, position, m, args[0])
				if err != nil {
					return err
				}
				fmt.Fprintf(e.stdout, "%s: %d records as of position %d\n", args[0], n, position)
				return nil
			}
		},
	}
}
