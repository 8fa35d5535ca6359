package postgres

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
)

// A migration that is cut short at any of its statements, by the process or by the
// database, is taken up where it was by the next.
func TestMigrationCutShort(t *testing.T) {
	t.Parallel()
	server := pgtest.Shared(t)
	for _, what := range []fate{cutBefore, cutAfter} {
		for at := int64(2); ; at += *stride {
			address := server.Address()
			dead := make(chan struct{})
			var once sync.Once
			p := &proxy{}
			p.decide = func(n int64, sql string) fate {
				if n < at {
					return pass
				}
				once.Do(func() { close(dead) })
				return what // and all that comes behind it
			}
			set := usual(Options{Patience: time.Millisecond})
			set.configure = p.configure
			first, err := open(t.Context(), address, set)
			select {
			case <-dead:
			default:
				if err != nil {
					t.Fatal(err)
				}
				first.Close()
				at = -1
			}
			if at < 0 {
				break // it was never reached
			}
			if err == nil {
				first.Close()
			}
			s, err := open(t.Context(), address, usual(Options{}))
			if err != nil {
				t.Fatalf("opening after a migration was cut short at statement %d: %v", at, err)
			}
			scenario(t, s)
			verifyScenario(t, s)
			s.Close()
		}
	}
}

// An engine may make a table and forget that it did. The step does no harm twice.
func TestMigrationTwice(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	s := openTest(t, address)
	scenario(t, s)
	for version := range len(migrations) {
		if _, err := s.reads.Exec(t.Context(), `UPDATE migration SET version = $1`, version); err != nil {
			t.Fatal(err)
		}
		again := openTest(t, address)
		verifyScenario(t, again)
	}
}

// Servers that start at once make one store.
func TestOpenTogether(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	const n = 6
	var wg sync.WaitGroup
	for i := range n {
		wg.Go(func() {
			s, err := open(t.Context(), address, usual(Options{}))
			if err != nil {
				t.Error(err)
				return
			}
			defer s.Close()
			if _, err := s.Publish(t.Context(), storetest.Publication(i, storetest.Put(t, storetest.Bolt(i, 60), 0))); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	s := openTest(t, address)
	if head, err := s.Head(t.Context()); err != nil || head.Position != n {
		t.Errorf("head is %+v, %v; want position %d", head, err, n)
	}
	if err := s.Check(t.Context()); err != nil {
		t.Error(err)
	}
	rows := 0
	if err := s.reads.QueryRow(t.Context(), `SELECT count(*) FROM writer`).Scan(&rows); err != nil || rows != 0 {
		t.Errorf("%d rows of closed stores are left, %v", rows, err)
	}
}

// A store that a newer version has written is not opened, and not written by a server
// that had it open before.
func TestNewer(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	old := openTest(t, address)
	publish := func(n int) error {
		_, err := old.Publish(t.Context(), storetest.Publication(n, storetest.Put(t, storetest.Bolt(n, 60), 0)))
		return err
	}
	if err := publish(1); err != nil {
		t.Fatal(err)
	}
	for what, change := range map[string]func(*settings){
		"migration": func(s *settings) {
			s.steps = append(s.steps[:len(s.steps):len(s.steps)], `CREATE TABLE IF NOT EXISTS later (id BIGINT NOT NULL PRIMARY KEY)`)
		},
		"edition": func(s *settings) { s.edition++ },
	} {
		t.Run(what, func(t *testing.T) {
			set := usual(Options{})
			change(&set)
			newer := openSettings(t, address, set)
			if err := newer.Check(t.Context()); err != nil {
				t.Error(err)
			}
			if err := publish(2); !errors.Is(err, store.ErrNewer) {
				t.Errorf("an old server publishes into a newer store with %v, want %v", err, store.ErrNewer)
			}
			if _, err := Open(t.Context(), address, Options{}); !errors.Is(err, store.ErrNewer) || !strings.Contains(err.Error(), "use the newer program") {
				t.Errorf("Open of a newer store gives %v, want %v", err, store.ErrNewer)
			}
			if _, err := old.Get(t.Context(), storetest.Bolt(1, 0).Name(), 1); err != nil {
				t.Errorf("an old server reads no more: %v", err)
			}
			for _, sql := range []string{`UPDATE log_head SET edition = edition - 1 WHERE edition > 1`, fmt.Sprintf(`UPDATE migration SET version = %d`, len(migrations))} {
				if _, err := newer.reads.Exec(t.Context(), sql); err != nil {
					t.Fatal(err)
				}
			}
		})
	}
	if err := publish(2); err != nil {
		t.Errorf("publishing again: %v", err)
	}
}

// What is derived by an older edition is made again on opening.
func TestOlderEdition(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	s := openTest(t, address)
	scenario(t, s)
	for _, sql := range []string{`UPDATE log_head SET edition = 0`, `DELETE FROM word`, `UPDATE term SET term = 'place=nowhere' WHERE term = 'place=rear hub'`} {
		if _, err := s.reads.Exec(t.Context(), sql); err != nil {
			t.Fatal(err)
		}
	}
	verifyScenario(t, openTest(t, address))
}

// No error and nothing that is shown holds a password, or any part of an address that
// may be one.
func TestPasswords(t *testing.T) {
	t.Parallel()
	const secret = "hush-hush"
	socket, err := url.Parse(pgtest.Shared(t).Address())
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ address, says string }{
		{"postgres://ada:" + secret + "@127.0.0.1:1/library", "store postgres://127.0.0.1:1/library: the database cannot be reached"},
		{"postgres://ada:" + secret + "%zz@127.0.0.1/library", "cannot be read"},
		{"postgres://ada:" + secret + "/x@127.0.0.1/library", "cannot be read"},
		{"postgres://ada:" + secret + "@127.0.0.1:70000/library", "not understood"},
		{"postgres://ada:" + secret + "@127.0.0.1/library?sslmode=" + secret, "not understood"},
		{"postgres://127.0.0.1/library?password=" + secret + "&sslmode=x", "not understood"},
		{"postgres:ada:" + secret + "@127.0.0.1", "not understood"},
		{"mysql://ada:" + secret + "@127.0.0.1/library", "cannot be read"},
		{secret, "cannot be read"},
		{"postgres://nobody-known:" + secret + "@/postgres?host=" + url.QueryEscape(socket.Query().Get("host")), "nobody-known"},
		{"postgres://127.0.0.1:1/library?search_path=a,b&password=" + secret, "search_path"},
	} {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		_, err := Open(ctx, c.address, Options{})
		cancel()
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), secret) {
			t.Errorf("Open(%q) gives %v, want %q and no password", c.address, err, c.says)
		}
		if shown := Address(c.address); strings.Contains(shown, secret) || strings.Contains(shown, "ada") {
			t.Errorf("%q is shown as %q", c.address, shown)
		}
	}
	if got := Address("postgres://ada:x@db.example:5433/library?sslmode=require"); got != "postgres://db.example:5433/library" {
		t.Errorf("an address is shown as %q", got)
	}
}

// Sessions have limits that the database keeps, an address over a network is verified,
// and commits that do not wait for the disk are refused.
func TestConnection(t *testing.T) {
	address := pgtest.Shared(t).Address()
	s := openTest(t, address)
	for name, want := range map[string]string{"statement_timeout": "30s", "lock_timeout": "10s", "idle_in_transaction_session_timeout": "30s", "application_name": "proofload"} {
		got := ""
		if err := s.reads.QueryRow(t.Context(), "SHOW "+name).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %q, %v; want %q", name, got, err, want)
		}
	}
	strict := strings.Replace(address, "&proofload.may_lose=on", "", 1)
	if _, err := Open(t.Context(), strict, Options{}); !errors.Is(err, store.ErrInvalid) || !strings.Contains(err.Error(), "fsync is off") {
		t.Errorf("Open with fsync off gives %v", err)
	}
	if _, err := Open(t.Context(), strict+"&synchronous_commit=off", Options{}); !errors.Is(err, store.ErrInvalid) || !strings.Contains(err.Error(), "synchronous_commit") {
		t.Errorf("Open with synchronous_commit off gives %v", err)
	}
	t.Setenv("PGSSLMODE", "")
	for address, verified := range map[string]bool{"postgres://db.example/x": true, "postgres://127.0.0.1/x": false, "postgres:///x?host=%2Frun": false, "postgres://db.example/x?sslmode=disable": false, "postgres://db.example/x?sslmode=verify-full": true} {
		cfg, err := parse(address)
		if err != nil {
			t.Fatal(err)
		}
		if tls := cfg.ConnConfig.TLSConfig; (tls != nil && tls.ServerName == "db.example" && !tls.InsecureSkipVerify) != verified {
			t.Errorf("%s is verified: %t, want %t", address, !verified, verified)
		}
	}
}

// A schema that is somebody else's is left alone.
func TestForeign(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	c, err := pgx.Connect(t.Context(), address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close(t.Context())
	schema := c.Config().RuntimeParams["search_path"]
	if _, err := c.Exec(t.Context(), `CREATE SCHEMA `+schema+`; CREATE TABLE migration (what TEXT)`); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(t.Context(), address, Options{}); err == nil || !strings.Contains(err.Error(), "not a proofload store") {
		t.Errorf("Open of a foreign schema gives %v", err)
	}
}

// A role that may not write is informed, and a database that only reads.
func TestReadOnly(t *testing.T) {
	t.Parallel()
	address := pgtest.Shared(t).Address()
	scenario(t, openTest(t, address))
	s := openTest(t, address+"&default_transaction_read_only=on")
	if _, err := s.Publish(t.Context(), storetest.Publication(3, storetest.Put(t, storetest.Bolt(3, 60), 0))); !errors.Is(err, store.ErrReadOnly) {
		t.Errorf("Publish into a database that only reads gives %v, want %v", err, store.ErrReadOnly)
	}
	if _, err := s.Get(t.Context(), storetest.Bolt(1, 0).Name(), 2); err != nil {
		t.Error(err)
	}
}
