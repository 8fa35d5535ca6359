package main

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"io"
	"net/netip"
	"net/url"
	"os"
	"slices"
	"strings"
	"time"

	"proofload/server/access"
	"proofload/server/notary"
	"proofload/server/store/address"
)

// config is what the server is told: by flags, by the environment, by a file.
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
	key       string
	logFormat string
	// replay is how many positions back a watch of the log may begin.
	replay int64
	// tlsCert, tlsKey and clientCA are files; the first two both or none.
	tlsCert, tlsKey, clientCA string
	// requireToken asks for tokens on loopback too; public answers what may be open.
	requireToken, public bool
	hosts, proxies       names
	// identities is the file that says who shows a certificate or an ID token of
	// oidcIssuer made for oidcAudience; who is what it says.
	identities, oidcIssuer, oidcAudience string
	who                                  *access.Identities
	// origins are the sites whose pages may call.
	origins names
	trusted []netip.Prefix
	// origin names a new library, "" for a name that is made up; publicURL stands on
	// printed sheets.
	origin, publicURL string
	watches           int
	// drain is how long requests under way are waited for when the server stops.
	drain time.Duration
	// settings are the values of all flags and where each came from, for config show.
	settings []setting
}

// setting is the value of a flag and where it came from.
type setting struct{ name, value, from string }

// names is a flag that may be given several times, or once with commas.
type names []string

// String implements flag.Value.
func (l *names) String() string { return strings.Join(*l, ",") }

// Set implements flag.Value.
func (l *names) Set(s string) error {
	for _, part := range strings.Split(s, ",") {
		if part = strings.TrimSpace(part); part != "" {
			*l = append(*l, part)
		}
	}
	return nil
}

// The addresses and the store of a server that is told nothing.
const (
	defaultHTTP  = "127.0.0.1:7450"
	defaultGRPC  = "127.0.0.1:7451"
	defaultStore = "sqlite:.data/proofload.db"
)

// errHelp says that help was asked for and given.
var errHelp = errors.New("help")

// envPrefix begins the names of the environment's variables: PROOFLOAD_TLS_CERT is
// --tls-cert.
const envPrefix = "PROOFLOAD_SERVER_"

func envName(flag string) string {
	return envPrefix + strings.ToUpper(strings.ReplaceAll(flag, "-", "_"))
}

// parse reads the configuration: a flag counts before the environment, and that
// before the file of --config.
func parse(args []string, out io.Writer, getenv func(string) (string, bool)) (config, error) {
	var c config
	flags := flag.NewFlagSet("server", flag.ContinueOnError)
	flags.SetOutput(io.Discard)
	file := flags.String("config", "", "`file` with a line name=value for each flag it sets; flags and the environment ("+envPrefix+"...) count before it")
	flags.StringVar(&c.http, "http", defaultHTTP, "`address` for REST and pages")
	flags.StringVar(&c.grpc, "grpc", defaultGRPC, "`address` for gRPC")
	store := flags.String("store", defaultStore, "`store` of the records, sqlite:FILE or postgres://USER@HOST/DATABASE")
	flags.BoolVar(&c.create, "create", false, "make the store where the file is not there; the default store is made without it")
	flags.BoolVar(&c.demo, "demo", false, "fill a new store with the demo library, as a new default store is")
	empty := flags.Bool("empty", false, "leave a new default store empty instead of filling it with the demo library")
	flags.StringVar(&c.mark, "mark", "", "`file` that keeps the highest position served, so that a store that went back is noticed; default: beside the store's file, or in .data for a database")
	flags.BoolVar(&c.clockChecked, "clock-checked", false, "publish although nothing happened for more than 400 days: the clock is right")
	flags.StringVar(&c.key, "key", "", "`file` of the signing key, made when it is not there; default: the key is kept in the store")
	flags.StringVar(&c.tlsCert, "tls-cert", "", "`file` of the certificate (PEM), read again on SIGHUP; with --tls-key any address may be served, and every request needs a token")
	flags.StringVar(&c.tlsKey, "tls-key", "", "`file` of the certificate's key (PEM)")
	flags.StringVar(&c.clientCA, "client-ca", "", "`file` of certificates (PEM); clients need a certificate signed by one of them, beside their token or, where --identities names it, instead")
	flags.StringVar(&c.identities, "identities", "", "`file` with a line for each person who comes with a client certificate (certificate NAME = Person: roles) or an ID token (oidc SUBJECT = Person: roles) instead of a token of this server")
	flags.StringVar(&c.oidcIssuer, "oidc-issuer", "", "`address` of an OpenID Connect issuer whose ID tokens are taken; with --oidc-audience and --identities")
	flags.StringVar(&c.oidcAudience, "oidc-audience", "", "`name` that the issuer has for this server; ID tokens made for others are refused")
	flags.BoolVar(&c.requireToken, "require-token", false, "ask every request for a token; for a server behind a proxy that ends TLS, on any address")
	flags.Var(&c.hosts, "host", "`name` under which the server is reached, beside those of this machine; may be given several times")
	flags.Var(&c.proxies, "trusted-proxy", "`network` (CIDR) of a proxy whose X-Forwarded-For is believed; may be given several times")
	flags.Var(&c.origins, "cors-origin", "`origin` like https://bay.workshop.example whose pages may read and write here with a token of their own; may be given several times")
	flags.BoolVar(&c.public, "public", false, "answer sheet checks, checkpoints and keys without a token")
	flags.IntVar(&c.watches, "watches", access.DefaultLimits().Watches, "`number` of watches that one caller may have open")
	flags.StringVar(&c.origin, "origin", "", "permanent `name` of a new library, printed in checkpoints, like workshop.example/torque; random if empty")
	flags.StringVar(&c.publicURL, "public-url", "", "`address` at which readers reach this server, printed on sheets; default: the Host of the request, if it is local or a --host")
	flags.Int64Var(&c.replay, "replay", 1_000_000, "`positions` that a watch of the log may begin or fall behind; further back the log is listed")
	flags.DurationVar(&c.drain, "drain", 10*time.Second, "`time` for which requests under way are waited for when the server stops")
	flags.BoolVar(&c.verbose, "verbose", false, "log every request, not only failures")
	flags.StringVar(&c.logFormat, "log", "text", "`format` of the log: text or json")
	switch err := flags.Parse(args); {
	case errors.Is(err, flag.ErrHelp):
		fmt.Fprint(out, "Serves a library over HTTP and gRPC.\n\nUsage: go run ./server [flags]\n       go run ./server config show [flags]             (every setting and where it comes from)\n       go run ./server doctor [flags]                  (looks at store, key, certificate, ports, clock, disk)\n       go run ./server token add|list|revoke [flags]   (tokens of a store that no server has open)\n\n")
		flags.SetOutput(out)
		flags.PrintDefaults()
		fmt.Fprint(out, "\nExit codes: 0 stopped by a signal, 2 wrong use, 3 could not run (an address in use, a store that cannot be served).\n")
		return c, errHelp
	case err != nil:
		return c, fmt.Errorf("%w; go run ./server --help lists the flags", err)
	case flags.NArg() > 0:
		return c, fmt.Errorf("argument %q is not understood; everything is said by flags, go run ./server --help lists them", flags.Arg(0))
	}
	if err := c.complete(flags, file, getenv); err != nil {
		return c, err
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
	if err := c.readIdentities(); err != nil {
		return c, err
	}
	return c, c.check()
}

// readIdentities reads the file of identities and demands what it needs.
func (c *config) readIdentities() error {
	switch {
	case c.identities == "" && (c.oidcIssuer != "" || c.oidcAudience != ""):
		return errors.New("--oidc-issuer and --oidc-audience need --identities: an issuer vouches for a name, and the file says who that is here")
	case c.identities == "":
		return nil
	case (c.oidcIssuer == "") != (c.oidcAudience == ""):
		return errors.New("--oidc-issuer and --oidc-audience are given one without the other; they go together")
	}
	f, err := os.Open(c.identities)
	if err != nil {
		return fmt.Errorf("--identities %s cannot be read: %w", c.identities, withoutPath(err))
	}
	defer f.Close()
	if c.who, err = access.ReadIdentities(f, c.identities); err != nil {
		return fmt.Errorf("--identities %w", err)
	}
	switch {
	case c.who.Has(access.ByCertificate) && c.clientCA == "":
		return errors.New("--identities names certificates, which nobody verifies without --client-ca")
	case c.who.Has(access.ByOIDC) && c.oidcIssuer == "":
		return errors.New("--identities names subjects of an issuer; say which with --oidc-issuer and --oidc-audience")
	}
	return nil
}

// complete sets the flags that were not given from the environment and the file.
func (c *config) complete(flags *flag.FlagSet, file *string, getenv func(string) (string, bool)) error {
	from := map[string]string{}
	flags.Visit(func(f *flag.Flag) { from[f.Name] = "flag" })
	set := func(name, value, source string) error {
		if from[name] != "" {
			return nil
		}
		if err := flags.Set(name, value); err != nil {
			return fmt.Errorf("%s: --%s cannot be %q: %w", source, name, value, err)
		}
		from[name] = source
		return nil
	}
	var err error
	flags.VisitAll(func(f *flag.Flag) {
		if value, ok := getenv(envName(f.Name)); ok && err == nil {
			err = set(f.Name, value, envName(f.Name))
		}
	})
	if err != nil {
		return err
	}
	if *file != "" {
		lines, err := readSettings(*file)
		if err != nil {
			return err
		}
		for _, l := range lines {
			if flags.Lookup(l.name) == nil || l.name == "config" {
				return fmt.Errorf("%s: %q is no setting; go run ./server --help lists them", l.from, l.name)
			}
			if err := set(l.name, l.value, l.from); err != nil {
				return err
			}
		}
	}
	flags.VisitAll(func(f *flag.Flag) {
		source := from[f.Name]
		if source == "" {
			source = "default"
		}
		c.settings = append(c.settings, setting{f.Name, shown(f.Value.String()), source})
	})
	return nil
}

// shown hides the password of an address.
func shown(value string) string {
	if u, err := url.Parse(value); err == nil && u.User != nil {
		return u.Redacted()
	}
	return value
}

// readSettings reads a file of lines name=value; # begins a comment line.
func readSettings(file string) ([]setting, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, fmt.Errorf("--config %s cannot be read: %w", file, withoutPath(err))
	}
	defer f.Close()
	var out []setting
	lines := bufio.NewScanner(f)
	for n := 1; lines.Scan(); n++ {
		text := strings.TrimSpace(lines.Text())
		if text == "" || strings.HasPrefix(text, "#") {
			continue
		}
		name, value, ok := strings.Cut(text, "=")
		if !ok {
			return nil, fmt.Errorf("%s:%d: %q is not name=value", file, n, text)
		}
		out = append(out, setting{strings.TrimSpace(name), strings.TrimSpace(value), fmt.Sprintf("%s:%d", file, n)})
	}
	return out, lines.Err()
}

// check returns what is wrong with the configuration, or nil.
func (c *config) check() error {
	if c.replay < 1 {
		return fmt.Errorf("--replay %d allows no watch to be behind; give at least 1", c.replay)
	}
	if c.watches < 1 {
		return fmt.Errorf("--watches %d allows none; give at least 1", c.watches)
	}
	if !slices.Contains([]string{"text", "json"}, c.logFormat) {
		return fmt.Errorf("--log %q does not exist; allowed: text, json", c.logFormat)
	}
	if u, err := url.Parse(c.publicURL); c.publicURL != "" && (err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || u.RawQuery != "" || u.Fragment != "" || len(c.publicURL) > 100) {
		return fmt.Errorf("--public-url %q is no address of a server; write it like https://torque.workshop.example, up to 100 letters", c.publicURL)
	}
	for _, h := range c.hosts {
		if strings.ContainsAny(h, "/@ *") {
			return fmt.Errorf("--host %q is no name of a host; write it like torque.workshop.example", h)
		}
	}
	for _, o := range c.origins {
		u, err := url.Parse(o)
		if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" || strings.Contains(o, "*") || o != u.Scheme+"://"+u.Host {
			return fmt.Errorf("--cors-origin %q is no origin; write it like https://bay.workshop.example, without a path and without *", o)
		}
	}
	for _, p := range c.proxies {
		network, err := netip.ParsePrefix(p)
		if err != nil {
			return fmt.Errorf("--trusted-proxy %q is no network; write it like 10.0.0.0/8, or 10.0.0.7/32 for one", p)
		}
		c.trusted = append(c.trusted, network.Masked())
	}
	if c.origin != "" {
		if err := notary.ValidOrigin(c.origin); err != nil {
			return fmt.Errorf("--origin: %w", err)
		}
	}
	switch {
	case (c.tlsCert == "") != (c.tlsKey == ""):
		return errors.New("--tls-cert and --tls-key are given one without the other; a certificate and its key go together")
	case c.clientCA != "" && c.tlsCert == "":
		return errors.New("--client-ca needs --tls-cert and --tls-key: without TLS nobody shows a certificate")
	case c.tlsCert != "" || c.requireToken:
		return nil
	}
	if err := access.Loopback("--http", c.http); err != nil {
		return err
	}
	return access.Loopback("--grpc", c.grpc)
}

// gate returns who gets in.
func (c *config) gate() access.Settings {
	return access.Settings{Required: c.tlsCert != "" || c.requireToken, Hosts: c.hosts, Proxies: c.trusted, Public: c.public, Identities: c.who}
}

// limits returns the budget of one caller.
func (c *config) limits() access.Limits {
	l := access.DefaultLimits()
	l.Watches = c.watches
	return l
}

// show writes every setting and where it comes from.
func (c *config) show(out io.Writer) {
	for _, s := range c.settings {
		fmt.Fprintf(out, "%-14s %-40s # %s\n", s.name, "= "+s.value, s.from)
	}
}
