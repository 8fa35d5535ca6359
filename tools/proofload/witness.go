package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"sync/atomic"
	"time"

	"github.com/spf13/pflag"
	"golang.org/x/mod/sumdb/note"

	"proofload/server/ledger"
)

func witnessCommand() *command {
	return &command{
		name: "witness", args: "--server URL --keep FILE --with KEY", summary: "watch a library's history from outside, and cosign it while it only grows",
		examples: []string{
			"proofload witness key north.key --name witness.example/north    # and north.key.pub, for those who verify",
			"proofload witness --server http://127.0.0.1:7450 --keep seen.txt --with north.key --once    # from a timer",
			"proofload witness --server http://127.0.0.1:7450 --keep seen.txt --with north.key           # until interrupted",
			"proofload verify --server http://127.0.0.1:7450 --checkpoint kept.txt --cosigned seen.txt --witness north.key.pub --max-age 1h",
		},
		notes: []string{
			"A server can sign two histories and show each of its readers one. A witness keeps the last\ncheckpoint that it saw (--keep) and cosigns the next only where that is proved to have grown from\nit; where it is not, it keeps both notes and ends with exit 1. Run it where the server's people\ncannot change it, several if you can.",
			"What it keeps is the cosigned checkpoint (c2sp.org/tlog-cosignature): give the file, or --listen's\naddress, to verify --cosigned. The library's key is in FILE.key, taken the first time: compare it.",
		},
		setup: witnessSetup,
		sub: []*command{
			{name: "key", args: "FILE --name NAME", summary: "make the key of a witness; FILE is its own, FILE.pub is for everybody", setup: witnessKey},
		},
	}
}

func witnessKey(fs *pflag.FlagSet) action {
	name := fs.String("name", "", "`NAME` of the witness, like witness.example/north")
	return func(_ context.Context, e *env, args []string) error {
		if len(args) != 1 || *name == "" {
			return usagef("witness key takes one file and --name NAME")
		}
		secret, public, err := ledger.NewCosigner(*name)
		if err != nil {
			return usagef("flag --name: %v", err)
		}
		if err := writeNew(args[0], secret+"\n", 0o600); err != nil {
			return err
		}
		if err := writeNew(args[0]+".pub", public+"\n", 0o644); err != nil {
			return err
		}
		_, err = fmt.Fprintf(e.stdout, "%s cosigns as %s; give %s.pub to those who verify\n", args[0], *name, args[0])
		return stdoutError(err)
	}
}

// watchman is a witness at work.
type watchman struct {
	server, file, library string
	cosigner              *ledger.Cosigner
	// newest is what it cosigned last, for those who ask over --listen.
	newest atomic.Pointer[[]byte]
}

func witnessSetup(fs *pflag.FlagSet) action {
	w := &watchman{}
	fs.StringVar(&w.server, "server", "", "`URL` of the server to watch")
	fs.StringVar(&w.file, "keep", "", "`FILE` that keeps the last checkpoint that was cosigned")
	fs.StringVar(&w.library, "key", "", "verifier `KEY` of the library, or a file with it; FILE.key if absent, made the first time")
	with := fs.String("with", "", "`FILE` with the key of the witness (proofload witness key)")
	once := fs.Bool("once", false, "look once and end")
	every := fs.Duration("every", time.Minute, "how long to wait between two looks")
	listen := fs.String("listen", "", "`HOST:PORT` at which to tell the last cosigned checkpoint")
	return func(ctx context.Context, e *env, args []string) error {
		switch {
		case len(args) > 0:
			return usagef("witness takes no arguments, found %q", args[0])
		case w.server == "" || w.file == "" || *with == "":
			return usagef("witness needs --server URL, --keep FILE and --with KEY")
		case *every < time.Second:
			return usagef("flag --every: %s is too short; allowed: 1s and longer", *every)
		case *once && *listen != "":
			return usagef("witness --once has nobody to tell; leave --listen out")
		}
		secret, err := os.ReadFile(*with)
		if err != nil {
			return pathError("key", *with, err)
		}
		if w.cosigner, err = ledger.ParseCosigner(string(secret), e.now); err != nil {
			return usagef("flag --with: %s: %v", *with, err)
		}
		if *once {
			return w.look(ctx, e)
		}
		return w.watch(ctx, e, *every, *listen)
	}
}

// watch looks again and again until it is interrupted, or the history forks.
func (w *watchman) watch(ctx context.Context, e *env, every time.Duration, address string) error {
	if b, err := os.ReadFile(w.file); err == nil {
		w.newest.Store(&b)
	}
	if address != "" {
		l, err := net.Listen("tcp", address)
		if err != nil {
			return usagef("flag --listen: %s cannot be listened on: %v", address, reason(err))
		}
		server := &http.Server{Handler: http.HandlerFunc(w.tell), ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 10 * time.Second, WriteTimeout: 10 * time.Second, MaxHeaderBytes: 16 << 10}
		defer server.Close()
		go server.Serve(l)
		if _, err := fmt.Fprintf(e.stdout, "tells the last cosigned checkpoint at http://%s\n", l.Addr()); err != nil {
			return stdoutError(err)
		}
	}
	if _, err := fmt.Fprintf(e.stdout, "watches %s every %s; interrupt to stop\n", w.server, every); err != nil {
		return stdoutError(err)
	}
	for {
		err := w.look(ctx, e)
		switch {
		case ctx.Err() != nil:
			return nil // it was interrupted, which is how watching ends
		case errors.Is(err, errFindings):
			return err
		case err != nil:
			fmt.Fprintf(e.stderr, "proofload: %v; looking again in %s\n", err, every)
		}
		select {
		case <-time.After(every):
		case <-ctx.Done():
			return nil
		}
	}
}

func (w *watchman) tell(out http.ResponseWriter, r *http.Request) {
	b := w.newest.Load()
	switch {
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		out.Header().Set("Allow", "GET, HEAD")
		http.Error(out, "a witness is only asked", http.StatusMethodNotAllowed)
	case b == nil:
		http.Error(out, "nothing is cosigned yet", http.StatusNotFound)
	default:
		out.Header().Set("Content-Type", "text/plain; charset=utf-8")
		out.Header().Set("Cache-Control", "no-store")
		out.Write(*b)
	}
}

// look fetches the newest checkpoint and cosigns it where it grew from the kept one.
func (w *watchman) look(ctx context.Context, e *env) error {
	v := &verification{server: w.server, checkpoints: []string{w.file}, key: w.library}
	server, err := newRemote(w.server, e.getenv(tokenVariable))
	if err != nil {
		return err
	}
	keys, err := v.known(ctx, e, server, w.file)
	if err != nil {
		return err
	}
	var kept ledger.Checkpoint
	b, err := os.ReadFile(w.file)
	first := errors.Is(err, os.ErrNotExist)
	if err != nil && !first {
		return pathError("checkpoint", w.file, err)
	}
	if !first {
		if kept, err = ledger.Open(b, keys...); err != nil {
			return usagef("checkpoint %s: %v", w.file, err)
		}
	}
	newest, signed, err := server.checkpoint(ctx, "newest", keys...)
	if err != nil {
		return v.notSigned(e, err)
	}
	if !first {
		if err := w.grew(ctx, e, server, kept, newest, signed); err != nil {
			return err
		}
	}
	noted, err := w.cosigner.Cosign(signed, keys...)
	if err != nil {
		return err
	}
	if err := keep(w.file, noted); err != nil {
		return err
	}
	w.newest.Store(&noted)
	if first || newest.Size != kept.Size {
		_, err = fmt.Fprintf(e.stdout, "cosigned: position %d, %d leaves of %s\n", newest.Position, newest.Size, newest.Origin)
	}
	return stdoutError(err)
}

// grew says whether the newest checkpoint grew from the kept one. Where it did not, it
// keeps the server's note beside the kept one: the two show that the signer lied.
func (w *watchman) grew(ctx context.Context, e *env, server *remote, kept, newest ledger.Checkpoint, signed []byte) error {
	if newest == kept {
		return nil
	}
	var err error
	if newest.Size < kept.Size || newest.Size == kept.Size {
		err = ledger.CheckGrowth(nil, kept, newest)
	} else {
		var g *ledger.Growth
		if g, err = server.growth(ctx, newest.Position, kept.Size); err != nil {
			return err
		}
		err = ledger.CheckGrowth(g.Hashes, kept, newest)
	}
	if err == nil {
		return nil
	}
	beside := w.file + ".other"
	if keepErr := keep(beside, signed); keepErr != nil {
		return keepErr
	}
	return refuted(e, "%v\nNothing is cosigned. The server's note is in %s, what was cosigned before in %s: together they show that the signer told two histories", err, beside, w.file)
}

var _ note.Verifier = (*ledger.Witness)(nil)
