package postgres

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"regexp"
	"runtime"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/pgxpool"

	"proofload/server/store"
)

// The schema that holds a store unless search_path names another.
const usualSchema = "proofload"

// limits are what the database cuts off by itself, so that no session that was left
// alone holds others up. An address may set others.
var limits = map[string]string{
	"application_name":                    "proofload",
	"statement_timeout":                   "30s",
	"lock_timeout":                        "10s",
	"idle_in_transaction_session_timeout": "30s",
	"search_path":                         usualSchema,
}

var schemaForm = regexp.MustCompile(`^[a-z_][a-z0-9_]{0,62}$`)

// parse reads an address. Its errors never repeat any part of it that may be a
// password.
func parse(address string) (*pgxpool.Config, error) {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" {
		return nil, fmt.Errorf("store: %w: the address cannot be read; write postgres://USER@HOST:PORT/DATABASE, and %%40 for an @ in a password, %%2F for a /", store.ErrInvalid)
	}
	cfg, err := pgxpool.ParseConfig(u.String())
	if err == nil && !u.Query().Has("sslmode") && os.Getenv("PGSSLMODE") == "" && !isLocal(cfg.ConnConfig.Host) {
		// Anyone who answers over a network has to show that it is the one meant.
		q := u.Query()
		q.Set("sslmode", "verify-full")
		u.RawQuery = q.Encode()
		cfg, err = pgxpool.ParseConfig(u.String())
	}
	if err != nil {
		return nil, fmt.Errorf("store %s: %w: a part of the address, or a PG… variable of the environment, is not understood; look at the port, sslmode and the other parameters behind the ?", Address(address), store.ErrInvalid)
	}
	for name, value := range limits {
		if _, set := cfg.ConnConfig.RuntimeParams[name]; !set {
			cfg.ConnConfig.RuntimeParams[name] = value
		}
	}
	if schema := cfg.ConnConfig.RuntimeParams["search_path"]; !schemaForm.MatchString(schema) {
		return nil, fmt.Errorf("store %s: %w: search_path %q; allowed: one schema, lower-case letters, digits and underscores", Address(address), store.ErrInvalid, schema)
	}
	if cfg.ConnConfig.ConnectTimeout == 0 {
		cfg.ConnConfig.ConnectTimeout = 5 * time.Second
	}
	if !u.Query().Has("pool_max_conns") {
		cfg.MaxConns = int32(max(4, 2*runtime.NumCPU()))
	}
	if cfg.ConnConfig.RuntimeParams[mayLose] != "on" {
		cfg.AfterConnect = requireDurable
	}
	return cfg, nil
}

// mayLose is the parameter of an address that says that the database may lose what it
// acknowledged, as tests want it: ?proofload.may_lose=on.
const mayLose = "proofload.may_lose"

// requireDurable refuses a database whose commits may be lost when it stops.
func requireDurable(ctx context.Context, c *pgx.Conn) error {
	for _, s := range []struct{ show, name, harm string }{
		{`SHOW synchronous_commit`, "synchronous_commit", "commits are lost when the database stops"},
		{`SHOW fsync`, "fsync", "the database may be lost as a whole when its machine stops"},
		{`SHOW full_page_writes`, "full_page_writes", "pages may be torn when its machine stops"},
	} {
		mode := ""
		err := c.QueryRow(ctx, s.show).Scan(&mode)
		var unknown *pgconn.PgError
		if errors.As(err, &unknown) && unknown.Code == "42704" {
			continue // an engine that has no such thing has its own way
		}
		if err != nil {
			return err
		}
		if mode == "off" {
			return fmt.Errorf("%w: %s is off, so that %s; switch it on, or write ?%s=on into the address of a database that nobody needs", store.ErrInvalid, s.name, s.harm, mayLose)
		}
	}
	return nil
}

func isLocal(host string) bool {
	ip := net.ParseIP(host)
	return strings.HasPrefix(host, "/") || strings.HasPrefix(host, "@") || host == "localhost" || ip != nil && ip.IsLoopback()
}

// Address returns an address as it may be shown: without user, password and parameters.
func Address(address string) string {
	u, err := url.Parse(address)
	if err != nil || u.Scheme != "postgres" && u.Scheme != "postgresql" || u.Opaque != "" || strings.Contains(u.Host, "@") {
		return "postgres://"
	}
	shown := url.URL{Scheme: "postgres", Host: u.Host, Path: u.Path}
	if shown.Path == "" {
		shown.Path = "/"
	}
	return shown.String()
}
