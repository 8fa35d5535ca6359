package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"proofload/server/access"
)

// config is what the command line says.
type config struct {
	http, grpc string
	// store is the file of the store.
	store   string
	empty   bool
	verbose bool
}

// The addresses and the store of a server that is told nothing.
const (
	defaultHTTP  = "127.0.0.1:7450"
	defaultGRPC  = "127.0.0.1:7451"
	defaultStore = "sqlite:.data/proofload.db"
)

// errHelp says that help was asked for and given.
var errHelp = errors.New("help")

func parse(args []string, out io.Writer) (config, error) {
	var c config
	flags := flag.NewFlagSet("server", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	flags.StringVar(&c.http, "http", defaultHTTP, "`address` for REST and pages")
	flags.StringVar(&c.grpc, "grpc", defaultGRPC, "`address` for gRPC")
	store := flags.String("store", defaultStore, "`store` of the records, sqlite:FILE; made when it is not there")
	flags.BoolVar(&c.empty, "empty", false, "leave a new store empty instead of filling it with the demo library")
	flags.BoolVar(&c.verbose, "verbose", false, "log every request, not only failures")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(out, "Serves a library over HTTP and gRPC.\n\nUsage: go run ./server [flags]\n\n")
		flags.SetOutput(out)
		flags.PrintDefaults()
		return c, errHelp
	case err != nil:
		return c, fmt.Errorf("%w; go run ./server --help lists the flags", err)
	case flags.NArg() > 0:
		return c, fmt.Errorf("argument %q is not understood; everything is said by flags, go run ./server --help lists them", flags.Arg(0))
	}
	engine, file, _ := strings.Cut(*store, ":")
	if engine != "sqlite" || file == "" {
		return c, fmt.Errorf("--store %q is not a store; allowed: sqlite:FILE, like %s", *store, defaultStore)
	}
	c.store = file
	if err := access.Loopback("--http", c.http); err != nil {
		return c, err
	}
	return c, access.Loopback("--grpc", c.grpc)
}
