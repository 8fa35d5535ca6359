package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"time"

	"proofload/server/catalog"
	"proofload/server/check"
	"proofload/server/rest"
	"proofload/server/rpc"
	"proofload/server/store"
	"proofload/server/store/sqlite"
	"proofload/server/web"
	"proofload/specdata"
	"proofload/specdata/library"
	"proofload/tools/lint"
	"proofload/tools/lint/rules"
)

// today is the day that everything is checked for.
var today = time.Date(2026, 12, 1, 0, 0, 0, 0, time.UTC)

// judge checks as the server's main does.
func judge(ctx context.Context, lib library.Library, only []specdata.Name, old library.Library) (*check.Report, error) {
	rep, err := lint.Run(ctx, lint.Options{Rules: rules.All, Library: lib, Only: only, Old: old, Date: today})
	if err != nil {
		return nil, err
	}
	return &check.Report{Findings: rep.Findings, NotChecked: rep.NotChecked}, nil
}

// service is the server on loopback, wired as its main wires it.
type service struct {
	grpcAddress, httpAddress string
	stop                     func()
}

// newService serves a store, whose caches are empty.
func newService(ctx context.Context, s store.Store) (_ *service, err error) {
	log := slog.New(slog.NewTextHandler(io.Discard, nil))
	cat, err := catalog.New(ctx, s)
	if err != nil {
		return nil, err
	}
	grpcServer := rpc.NewServer(rpc.Deps{Catalog: cat, Check: judge, Log: log})
	pages, err := web.New(cat, log)
	if err != nil {
		return nil, err
	}
	handler, err := rest.NewHandler(rest.Deps{Catalog: cat, RPC: grpcServer, Pages: pages, Log: log})
	if err != nil {
		return nil, err
	}
	httpServer := rest.NewServer(handler, log)
	grpcAddress, err := serveOn(grpcServer.Serve)
	if err != nil {
		return nil, err
	}
	httpAddress, err := serveOn(httpServer.Serve)
	if err != nil {
		grpcServer.Stop()
		return nil, err
	}
	return &service{grpcAddress: grpcAddress, httpAddress: httpAddress, stop: func() {
		grpcServer.Stop()
		httpServer.Close()
	}}, nil
}

// serveOn serves on a free port of loopback and returns its address.
func serveOn(serve func(net.Listener) error) (address string, err error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	go serve(l) // ends when its server is stopped
	return l.Addr().String(), nil
}

// withService opens the store of the library and lends the service.
func (w *world) withService(ctx context.Context, work func(*service) error) (err error) {
	file, err := w.library(ctx)
	if err != nil {
		return err
	}
	s, err := sqlite.Open(ctx, file, sqlite.Options{})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	served, err := newService(ctx, s)
	if err != nil {
		return err
	}
	defer served.stop()
	return work(served)
}

// The service in a process of its own is this program again.
const serveCommand = "serve-store"

// serving reports whether the arguments ask this process to be the service, and of
// which file.
func serving(args []string) (file string, ok bool) {
	if len(args) == 2 && args[0] == serveCommand {
		return args[1], true
	}
	return "", false
}

// serve serves a store until its input ends. It prints the gRPC address first.
func serve(ctx context.Context, file string, in io.Reader, out io.Writer) error {
	s, err := sqlite.Open(ctx, file, sqlite.Options{})
	if err != nil {
		return err
	}
	served, err := newService(ctx, s)
	if err != nil {
		return errors.Join(err, s.Close())
	}
	fmt.Fprintln(out, served.grpcAddress)
	_, err = io.Copy(io.Discard, in)
	served.stop()
	return errors.Join(err, s.Close())
}

// process is the service in a process of its own.
type process struct {
	cmd     *exec.Cmd
	in      io.Closer
	address string
}

// startProcess starts the service and waits for its address.
func startProcess(ctx context.Context, file string) (*process, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	p := &process{cmd: exec.CommandContext(ctx, self, serveCommand, file)}
	p.cmd.Stderr = os.Stderr
	in, err := p.cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	p.in = in
	out, err := p.cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := p.cmd.Start(); err != nil {
		return nil, err
	}
	scan := bufio.NewScanner(out)
	if !scan.Scan() {
		return nil, errors.Join(errors.New("service printed no address"), p.stop())
	}
	p.address = scan.Text()
	return p, nil
}

func (p *process) stop() error {
	return errors.Join(p.in.Close(), p.cmd.Wait())
}
