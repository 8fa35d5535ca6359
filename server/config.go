package main

import (
	"crypto/tls"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/url"

	"proofload/server/access"
	"proofload/server/notary"
	"proofload/server/store/address"
)

// config is what the command line says.
type config struct {
	http, grpc string
	store      address.Address
	// create makes the store where it is not there, demo fills a new one with the demo
	// library.
	create, demo bool
	verbose      bool
	// mark is the file of the highest position that was served; clockChecked says that
	// somebody looked at the clock.
	mark         string
	clockChecked bool
	// key is the file of the signing key, "" where it is in the store.
	key string
	// replay is how many positions back a watch of the log may begin.
	replay int64
	// tlsCert and tlsKey are files, both or none.
	tlsCert, tlsKey string
	// origin names a new library, "" for a name that is made up; publicURL stands on
	// printed sheets.
	origin, publicURL string
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
	store := flags.String("store", defaultStore, "`store` of the records, sqlite:FILE or postgres://USER@HOST/DATABASE")
	flags.BoolVar(&c.create, "create", false, "make the store where the file is not there; the default store is made without it")
	flags.BoolVar(&c.demo, "demo", false, "fill a new store with the demo library, as a new default store is")
	empty := flags.Bool("empty", false, "leave a new default store empty instead of filling it with the demo library")
	flags.StringVar(&c.mark, "mark", "", "`file` that keeps the highest position served, so that a store that went back is noticed; default: beside the store's file, or in .data for a database")
	flags.BoolVar(&c.clockChecked, "clock-checked", false, "publish although nothing happened for more than 400 days: the clock is right")
	flags.StringVar(&c.key, "key", "", "`file` of the signing key, made when it is not there; default: the key is kept in the store")
	flags.StringVar(&c.tlsCert, "tls-cert", "", "`file` of the certificate (PEM); with --tls-key any address may be served, and every request needs a token")
	flags.StringVar(&c.tlsKey, "tls-key", "", "`file` of the certificate's key (PEM)")
	flags.StringVar(&c.origin, "origin", "", "`name` of a new library for ever, as its checkpoints say it, like workshop.example/torque; made up if absent")
	flags.StringVar(&c.publicURL, "public-url", "", "`address` at which readers reach this server, printed on sheets; the one that asked if absent")
	flags.Int64Var(&c.replay, "replay", 1_000_000, "`positions` that a watch of the log may begin or fall behind; further back the log is listed")
	flags.BoolVar(&c.verbose, "verbose", false, "log every request, not only failures")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(out, "Serves a library over HTTP and gRPC.\n\nUsage: go run ./server [flags]\n       go run ./server token add|list|revoke [flags]   (tokens of a store that no server has open)\n\n")
		flags.SetOutput(out)
		flags.PrintDefaults()
		return c, errHelp
	case err != nil:
		return c, fmt.Errorf("%w; go run ./server --help lists the flags", err)
	case flags.NArg() > 0:
		return c, fmt.Errorf("argument %q is not understood; everything is said by flags, go run ./server --help lists them", flags.Arg(0))
	}
	var err error
	if c.store, err = address.Parse(*store); err != nil {
		return c, fmt.Errorf("--store %w", err)
	}
	if c.demo && *empty {
		return c, errors.New("--demo and --empty are given together; give one")
	}
	byDefault := *store == defaultStore
	c.create, c.demo = c.create || byDefault, !*empty && (c.demo || byDefault)
	if c.mark == "" {
		c.mark = c.store.Mark()
	}
	if c.replay < 1 {
		return c, fmt.Errorf("--replay %d allows no watch to be behind; give at least 1", c.replay)
	}
	if u, err := url.Parse(c.publicURL); c.publicURL != "" && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || len(c.publicURL) > 100) {
		return c, fmt.Errorf("--public-url %q is no address of a server; write it like https://torque.workshop.example, up to 100 letters", c.publicURL)
	}
	if c.origin != "" {
		if err := notary.ValidOrigin(c.origin); err != nil {
			return c, fmt.Errorf("--origin: %w", err)
		}
	}
	switch {
	case (c.tlsCert == "") != (c.tlsKey == ""):
		return c, errors.New("--tls-cert and --tls-key are given one without the other; a certificate and its key go together")
	case c.tlsCert != "":
		return c, nil
	}
	if err := access.Loopback("--http", c.http); err != nil {
		return c, err
	}
	return c, access.Loopback("--grpc", c.grpc)
}

// encryption gives the TLS configuration, nil where there is none.
func (c config) encryption() (*tls.Config, error) {
	if c.tlsCert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(c.tlsCert, c.tlsKey)
	if err != nil {
		return nil, fmt.Errorf("--tls-cert %s with --tls-key %s cannot be used: %w", c.tlsCert, c.tlsKey, err)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}
