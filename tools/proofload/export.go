package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/pflag"

	"proofload/server/ask"
	"proofload/server/store"
	"proofload/server/transfer"
	"proofload/specdata"
	"proofload/specdata/document"
)

func exportCommand() *command {
	return &command{
		name: "export", args: "FOLDER", summary: "write a library of a moment into a new folder, a YAML file a record",
		examples: []string{
			"proofload export out",
			"proofload export --library http://127.0.0.1:7450 --at release:2026-10 -o october",
			"proofload export first --at position:1 --store sqlite:friday.db",
		},
		notes: []string{
			"The folder is a library: every command works on it, and importing it into an empty store makes\nthe same documents with the same hashes. It must not be there yet, or be empty.",
			"A store belongs to one process: stop the server that has it open first, or ask the server\n(--library URL).",
		},
		setup: func(fs *pflag.FlagSet) action {
			var o exportOptions
			o.store = storeFlag(fs)
			fs.StringVar(&o.library, "library", "", "`URL` of a server to export from, instead of a store")
			fs.StringVar(&o.at, "at", "", "a `MOMENT`: position:N, time:RFC3339 or release:NAME; the newest if absent")
			fs.StringVarP(&o.folder, "output", "o", "", "the `FOLDER`, where it is not the argument")
			fs.StringVar(&o.marker.Library, "name", "", "short `NAME` of the library, lower-case words joined by hyphens; that of the folder if absent")
			fs.StringVar(&o.marker.Title, "title", "", "name of the library for people")
			fs.StringVar(&o.marker.Notice, "notice", "", "what every reader of the library must be told")
			return func(ctx context.Context, e *env, args []string) error {
				if o.folder != "" {
					args = append(args, o.folder)
				}
				if len(args) != 1 {
					return usagef("export takes one folder, found %d", len(args))
				}
				o.folder = args[0]
				if o.library != "" && fs.Changed("store") {
					return usagef("export takes --library or --store, not both")
				}
				return o.run(ctx, e)
			}
		},
	}
}

// exportOptions is what the command line asks an export for.
type exportOptions struct {
	store               *string
	library, at, folder string
	marker              document.Marker
}

func (o *exportOptions) run(ctx context.Context, e *env) error {
	moment, err := ask.At("--at", o.at)
	if err != nil {
		return usagef("%v", err)
	}
	if o.marker.Library == "" {
		o.marker.Library = filepath.Base(o.folder)
		if !specdata.ValidID(o.marker.Library) {
			o.marker.Library = "library"
		}
	}
	var n int
	var position string
	if o.library != "" {
		n, position, err = o.fromServer(ctx, e)
	} else {
		n, position, err = o.fromStore(ctx, moment)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%s: %s as of position %s\n", o.folder, count(n, "record", "records"), position)
	return nil
}

// entitle returns the library the name of its moment where it was given none.
func (o *exportOptions) entitle(position string) {
	if o.marker.Title != "" {
		return
	}
	o.marker.Title = "Export of position " + position
	if name, ok := strings.CutPrefix(o.at, "release:"); ok {
		o.marker.Title = "Release " + name + " (position " + position + ")"
	}
}

func (o *exportOptions) fromStore(ctx context.Context, moment store.At) (n int, at string, err error) {
	s, err := openStore(ctx, *o.store, nil)
	if err != nil {
		return 0, "", err
	}
	defer s.Close()
	position, err := s.Resolve(ctx, moment)
	switch {
	case errors.Is(err, store.ErrNotFound) || errors.Is(err, store.ErrFuture):
		return 0, "", usagef("flag --at: %v", err)
	case err != nil:
		return 0, "", err
	}
	at = fmt.Sprint(position)
	o.entitle(at)
	n, err = transfer.Export(ctx, s, position, o.marker, o.folder)
	return n, at, err
}

func (o *exportOptions) fromServer(ctx context.Context, e *env) (n int, position string, err error) {
	if !isURL(o.library) {
		return 0, "", usagef("flag --library: %q is no address of a server; write it like http://127.0.0.1:7450", o.library)
	}
	r, err := newRemote(o.library, e.getenv(tokenVariable))
	if err != nil {
		return 0, "", err
	}
	lib, position, err := r.loadAt(ctx, o.at)
	if err != nil {
		return 0, "", err
	}
	o.entitle(position)
	n, err = transfer.ExportLibrary(lib, o.marker, o.folder)
	return n, position, err
}
