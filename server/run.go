package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"syscall"
	"time"

	"proofload/server/access"
	"proofload/server/catalog"
	"proofload/server/desk"
	"proofload/server/feed"
	"proofload/server/intake"
	"proofload/server/job"
	"proofload/server/meter"
	"proofload/server/notary"
	"proofload/server/prints"
	"proofload/server/pulse"
	"proofload/server/rest"
	"proofload/server/rpc"
	"proofload/server/spoken"
	"proofload/server/store"
	"proofload/server/store/guard"
	"proofload/server/trail"
	"proofload/server/web"
	"proofload/specdata/demo"
	"proofload/tools/lint"
)

// run serves until the context ends or a signal comes. A second signal while it
// finishes what is under way ends it at once.
func run(ctx context.Context, args []string, stdout, stderr io.Writer, signals <-chan os.Signal) error {
	if len(args) > 0 && args[0] == "token" {
		return token(ctx, args[1:], stdout)
	}
	if len(args) > 0 && args[0] == "key" {
		return rotateKey(ctx, args[1:], stdout)
	}
	look := len(args) > 0 && args[0] == "doctor"
	if look {
		args = args[1:]
	}
	show := len(args) > 1 && args[0] == "config" && args[1] == "show"
	if show {
		args = args[2:]
	}
	c, err := parse(args, stdout, os.LookupEnv)
	switch {
	case errors.Is(err, errHelp):
		return nil
	case err != nil:
		return misuse{err}
	case show:
		c.show(stdout)
		return nil
	case look:
		return c.look(ctx, stdout)
	}
	level := slog.LevelInfo
	if c.verbose {
		level = slog.LevelDebug
	}
	var lines slog.Handler = slog.NewTextHandler(stderr, &slog.HandlerOptions{Level: level})
	if c.logFormat == "json" {
		lines = slog.NewJSONHandler(stderr, &slog.HandlerOptions{Level: level})
	}
	log := slog.New(lines)
	encrypted, certs, err := c.encryption()
	if err != nil {
		return err
	}
	httpListener, err := listen("--http", c.http)
	if err != nil {
		return err
	}
	defer httpListener.Close()
	grpcListener, err := listen("--grpc", c.grpc)
	if err != nil {
		return err
	}
	defer grpcListener.Close()
	guarded, err := open(ctx, c, log)
	if err != nil {
		return err
	}
	defer guarded.Close()
	s := trail.New(guarded, log)
	if err := speak(ctx, s); err != nil {
		return err
	}
	cat, err := catalog.New(ctx, s)
	if err != nil {
		return err
	}
	keys := access.NewKeys(s, time.Now)
	if c.oidcIssuer != "" {
		if err := c.who.TrustIssuer(ctx, c.oidcIssuer, c.oidcAudience); err != nil {
			return fmt.Errorf("--oidc-issuer: %w", err)
		}
	}
	gate := access.NewGate(keys, c.gate())
	budgets := access.NewBudgets(c.limits(), time.Now)
	beat := pulse.New(guarded.Well())
	reads := desk.NewReads(s, log)
	corrections := desk.New(desk.Deps{Follower: cat.Follower, Pages: cat.Pages, Check: judge, Affected: lint.AffectedBy, Reads: reads})
	signer, err := notary.Open(ctx, s, notary.Options{Origin: c.origin, KeyFile: c.key}, time.Now())
	if err != nil {
		return err
	}
	sheets := prints.New(cat, signer, corrections, log)
	jobs := job.New(cat, time.Now)
	followers := feed.New(s, feed.Options{Replay: c.replay}, log)
	defer followers.Close()
	counts := meter.New(func() int64 {
		head, err := guarded.Head(context.Background())
		if err != nil {
			return 0
		}
		return head.Position
	}, func() bool { return beat.Err() == nil })
	grpcServer := rpc.NewServer(rpc.Deps{
		Meter: counts, Catalog: cat, Check: judge, Rules: ruleCatalogue(), Desk: corrections, Reads: reads, Gate: gate, Budgets: budgets, Pulse: beat, Keys: keys, Feed: followers, Notary: signer, Prints: sheets, Jobs: jobs, Spoken: spoken.New(cat, corrections), TLS: encrypted, Epoch: guarded.Epoch(), Log: log,
	})
	pages, err := web.New(cat, log)
	if err != nil {
		return err
	}
	pages.ServeCorrections(grpcServer.Corrections)
	pages.ServeJobs(grpcServer.Jobs)
	pages.ServeGRPC(grpcListener.Addr().String(), encrypted != nil)
	pages.ServeDates(jobs.Dates)
	pages.ServeSignIn(func(ctx context.Context, authorization string) (*access.Token, error) {
		return budgets.Identify(ctx, gate, authorization)
	})
	pages.ServeChecks(grpcServer.Ledger.Check)
	handler, err := rest.NewHandler(rest.Deps{Meter: counts, Catalog: cat, RPC: grpcServer, Gate: gate, Budgets: budgets, Pulse: beat, Reads: reads, Prints: sheets, PublicURL: c.publicURL, Pages: pages, Epoch: guarded.Epoch(), Origins: c.origins, Log: log})
	if err != nil {
		return err
	}
	httpServer := rest.NewServer(handler, log)
	httpServer.TLSConfig = encrypted
	first, err := firstTokens(ctx, keys, cat)
	if err != nil {
		return err
	}
	defer background(ctx, reads.Run)()
	defer background(ctx, beat.Run)()
	failed := make(chan error, 2)
	go func() { failed <- grpcServer.Serve(grpcListener) }()
	go func() {
		if encrypted != nil {
			failed <- httpServer.ServeTLS(httpListener, "", "")
			return
		}
		failed <- httpServer.Serve(httpListener)
	}()
	if err := greet(ctx, stdout, c, cat, httpListener.Addr().String(), grpcListener.Addr().String(), first); err != nil {
		return err
	}
	if err := wait(ctx, log, failed, signals, certs); err != nil {
		return err
	}
	followers.Drain()
	return drain(log, c.drain, handler, httpServer, grpcServer, signals)
}

// wait returns when the server is to stop: nil, or the error that ended it. SIGHUP
// reads the certificate again.
func wait(ctx context.Context, log *slog.Logger, failed <-chan error, signals <-chan os.Signal, certs *certificates) error {
	for {
		select {
		case err := <-failed:
			return err
		case <-ctx.Done():
			return nil
		case sig := <-signals:
			if sig != syscall.SIGHUP {
				log.Info("stopping", "signal", sig.String())
				return nil
			}
			if certs == nil {
				log.Info("nothing to read again: the server has no certificate", "signal", sig.String())
			} else if err := certs.load(); err != nil {
				log.Error("certificate stays as it was", "error", err)
			} else {
				log.Info("certificate read again", "file", certs.certFile)
			}
		}
	}
}

// background runs something until the returned function is called, which waits for its end.
func background(ctx context.Context, work func(context.Context)) (stop func()) {
	ctx, cancel := context.WithCancel(ctx)
	done := make(chan struct{})
	go func() { work(ctx); close(done) }()
	return func() { cancel(); <-done }
}

func listen(flag, address string) (net.Listener, error) {
	l, err := net.Listen("tcp", address)
	switch {
	case errors.Is(err, syscall.EADDRINUSE):
		return nil, fmt.Errorf("%s %s is in use, perhaps by another server of this kind; stop it, or choose another address with %s 127.0.0.1:PORT (0 takes a free one)", flag, address, flag)
	case err != nil:
		return nil, fmt.Errorf("%s %s cannot be listened on: %w", flag, address, err)
	}
	return l, nil
}

// open opens the store, fills a new one and guards it.
func open(ctx context.Context, c config, log *slog.Logger) (*guard.Store, error) {
	make, how := c.store.OpenExisting, "; --create makes a new store"
	if c.create {
		make, how = c.store.Open, ""
		if file, ok := c.store.File(); ok {
			folder := filepath.Dir(file)
			if err := os.MkdirAll(folder, 0o700); err != nil {
				return nil, fmt.Errorf("--store %s: folder %s cannot be made: %w", c.store, folder, withoutPath(err))
			}
		}
	}
	opened, err := make(ctx)
	if err != nil {
		return nil, fmt.Errorf("--store %s cannot be opened: %w%s", c.store, err, how)
	}
	if err := os.MkdirAll(filepath.Dir(c.mark), 0o700); err != nil {
		return nil, errors.Join(fmt.Errorf("--mark %s: its folder cannot be made: %w", c.mark, withoutPath(err)), opened.Close())
	}
	s, err := guard.Open(ctx, opened, guard.Options{File: c.mark, Log: log, ClockChecked: c.clockChecked})
	if err != nil {
		return nil, fmt.Errorf("--store %s is not served: %w", c.store, err)
	}
	head, err := s.Head(ctx)
	if err == nil && head.Position == 0 && c.demo {
		err = fill(ctx, s)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

func withoutPath(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

func fill(ctx context.Context, s store.Store) error {
	lib, err := demo.Library()
	if err != nil {
		return err
	}
	_, err = intake.Fill(ctx, s, lib, judge, "demo library", "demo library", "demo data, published when the store was made", time.Now().UTC())
	return err
}

// drain says that the server stops, lets requests under way finish, and stops.
func drain(log *slog.Logger, within time.Duration, h *rest.Handler, httpServer *http.Server, grpcServer *rpc.Server, signals <-chan os.Signal) error {
	h.Drain()
	grpcServer.Drain()
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	done := make(chan error, 1)
	go func() {
		finished := make(chan struct{})
		go func() { grpcServer.GracefulStop(); close(finished) }()
		err := httpServer.Shutdown(ctx)
		select {
		case <-finished:
		case <-ctx.Done():
			grpcServer.Stop()
		}
		done <- err
	}()
	for {
		select {
		case err := <-done:
			if errors.Is(err, context.DeadlineExceeded) {
				// A client that sends or reads slowly is no failure of the server.
				log.Warn("requests were still under way and have been cut off", "after", within)
				return httpServer.Close()
			}
			return err
		case sig := <-signals:
			if sig != syscall.SIGHUP {
				return fmt.Errorf("second signal (%s): requests under way have been cut off", sig)
			}
		}
	}
}
