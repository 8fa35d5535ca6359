// Package pgtest runs a real PostgreSQL for tests: one server for a test program, in
// a temporary folder, on a socket there.
//
// The server dies with the program, however that ends, because a shell holds it that
// waits for the program's end of a pipe to close.
package pgtest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Server is a PostgreSQL of its own.
type Server struct {
	folder string
	as     *syscall.Credential // nil for whoever runs the test
	sync   bool

	mu     sync.Mutex
	keeper *exec.Cmd
	hold   io.Closer
	log    bytes.Buffer
	schema atomic.Int64
}

// needed are the programs of PostgreSQL that a server is made with.
var needed = []string{"initdb", "postgres"}

// Start makes a server. With sync it waits for the disk as in earnest, which only
// measurements need: no test here cuts the power.
func Start(sync bool) (_ *Server, err error) {
	for _, program := range needed {
		if _, err := exec.LookPath(program); err != nil {
			return nil, fmt.Errorf("these tests run PostgreSQL, and %s is not in the PATH; install it (apt-get install postgresql, brew install postgresql) and put its bin folder into the PATH", program)
		}
	}
	s := &Server{sync: sync}
	if s.folder, err = os.MkdirTemp("", "pgtest"); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.Close()
		}
	}()
	if len(s.folder) > 80 {
		return nil, fmt.Errorf("folder %s is too long a path for a socket; set TMPDIR to a shorter one", s.folder)
	}
	if err := s.stepDown(); err != nil {
		return nil, err
	}
	if out, err := s.command("initdb", "-D", s.data(), "-U", "owner", "--auth=trust", "--encoding=UTF8", "--locale=C", "--locale-provider=icu", "--icu-locale=en", "--data-checksums", "--no-sync").CombinedOutput(); err != nil {
		return nil, fmt.Errorf("initdb: %w: %s", err, out)
	}
	if err := s.Run(); err != nil {
		return nil, err
	}
	return s, s.restrict()
}

// stepDown finds another user for a server that root starts, which it refuses to be.
func (s *Server) stepDown() error {
	if os.Geteuid() != 0 {
		return nil
	}
	nobody, err := user.Lookup("nobody")
	if err != nil {
		return fmt.Errorf("PostgreSQL does not run as root, and there is no user nobody to run it as: %w", err)
	}
	uid, err := strconv.ParseUint(nobody.Uid, 10, 32)
	if err != nil {
		return err
	}
	gid, err := strconv.ParseUint(nobody.Gid, 10, 32)
	if err != nil {
		return err
	}
	s.as = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
	return os.Chown(s.folder, int(uid), int(gid))
}

// Data returns the folder of the database.
func (s *Server) Data() string { return s.data() }

func (s *Server) data() string { return filepath.Join(s.folder, "data") }

func (s *Server) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Dir = s.folder
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: s.as, Setpgid: true}
	return cmd
}

// keep runs a server and, when the standard input ends, stops it at once.
const keep = `postgres "$@" & server=$!; (read end; kill -QUIT $server) <&3 & wait $server; kill $! 2>/dev/null`

// Run starts a server that was stopped and waits until it answers.
func (s *Server) Run() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	durable := "off"
	if s.sync {
		durable = "on"
	}
	cmd := s.command("sh", "-c", keep, "sh", "-D", s.data(), "-k", s.folder, "-c", "listen_addresses=", "-c", "fsync="+durable, "-c", "max_connections=200",
		"-c", "log_min_messages=warning", "-c", "shared_buffers=64MB", "-c", "max_pred_locks_per_transaction=256")
	in, hold, err := os.Pipe()
	if err != nil {
		return err
	}
	cmd.ExtraFiles = []*os.File{in}
	s.log.Reset()
	cmd.Stdout, cmd.Stderr = &s.log, &s.log
	// Should something of it hold on to the output, it is not waited for.
	cmd.WaitDelay = time.Second
	err = cmd.Start()
	in.Close()
	if err != nil {
		hold.Close()
		return err
	}
	s.keeper, s.hold = cmd, hold
	return s.answers()
}

func (s *Server) answers() error {
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	for {
		c, err := pgx.Connect(ctx, s.address("owner", nil))
		if err == nil {
			return c.Close(ctx)
		}
		if ctx.Err() != nil {
			return fmt.Errorf("PostgreSQL does not answer: %w", err)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

// Signals by which a server is stopped: Smart waits for clients to leave, Fast sends
// them away, Immediate stops as a crash does.
const (
	Smart     = syscall.SIGTERM
	Fast      = syscall.SIGINT
	Immediate = syscall.SIGQUIT
)

// Stop stops the server and waits for its end.
func (s *Server) Stop(how syscall.Signal) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.keeper == nil {
		return nil
	}
	b, err := os.ReadFile(filepath.Join(s.data(), "postmaster.pid"))
	if err == nil {
		first, _, _ := strings.Cut(string(b), "\n")
		var pid int
		if pid, err = strconv.Atoi(first); err == nil {
			err = syscall.Kill(pid, how)
		}
	}
	if err != nil {
		s.hold.Close() // the shell stops it then
	}
	s.keeper.Wait()
	s.hold.Close()
	s.keeper = nil
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ESRCH) {
		return nil
	}
	return err
}

// Close stops the server and removes its folder.
func (s *Server) Close() error {
	return errors.Join(s.Stop(Immediate), os.RemoveAll(s.folder))
}

// restrict makes the role that tests use: it owns nothing but what it makes, and may
// use neither sequences nor advisory locks.
func (s *Server) restrict() error {
	ctx := context.Background()
	c, err := pgx.Connect(ctx, s.address("owner", nil))
	if err != nil {
		return err
	}
	defer c.Close(ctx)
	rows, err := c.Query(ctx, `SELECT oid::regprocedure::text FROM pg_proc WHERE pronamespace = 'pg_catalog'::regnamespace AND (proname IN ('nextval', 'currval', 'setval', 'lastval') OR proname LIKE '%advisory%')`)
	if err != nil {
		return err
	}
	functions, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		return err
	}
	for _, f := range functions {
		if _, err := c.Exec(ctx, `REVOKE EXECUTE ON FUNCTION pg_catalog.`+f+` FROM PUBLIC`); err != nil {
			return err
		}
	}
	_, err = c.Exec(ctx, `CREATE ROLE tester LOGIN; GRANT CREATE ON DATABASE postgres TO tester`)
	return err
}

func (s *Server) address(role string, params url.Values) string {
	q := url.Values{"host": {s.folder}}
	if !s.sync {
		q.Set("proofload.may_lose", "on") // what it acknowledges it may lose, with the machine
	}
	for name, v := range params {
		q[name] = v
	}
	return (&url.URL{Scheme: "postgres", User: url.User(role), Path: "/postgres", RawQuery: q.Encode()}).String()
}

// Address returns the address of a schema that nobody has used, for a role that may do
// little. Nothing is made yet.
func (s *Server) Address() string {
	return s.address("tester", url.Values{"search_path": {fmt.Sprintf("test_%d", s.schema.Add(1))}})
}

// OwnerAddress returns the same address for a role that may do everything.
func OwnerAddress(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	u.User = url.User("owner")
	return u.String()
}

// Log returns what the server had to say since it was last started.
func (s *Server) Log() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.log.String()
}

var shared struct {
	sync.Mutex
	server *Server
}

// Shared returns the server that the tests of a program share. Tests that stop a server
// start one of their own.
func Shared(t testing.TB) *Server {
	t.Helper()
	shared.Lock()
	defer shared.Unlock()
	if shared.server == nil {
		skipWithout(t)
		s, err := Start(false)
		if err != nil {
			t.Fatal(err)
		}
		shared.server = s
	}
	return shared.server
}

// Own returns a server for one test, or benchmark, which may stop it.
func Own(t testing.TB, sync bool) *Server {
	t.Helper()
	skipWithout(t)
	s, err := Start(sync)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Errorf("PostgreSQL: %v", err)
		}
	})
	return s
}

// skipWithout skips a test on a machine without PostgreSQL's programs, so that a
// newcomer's first run is not red. CI, which has to have them, fails instead.
func skipWithout(t testing.TB) {
	t.Helper()
	for _, program := range needed {
		if _, err := exec.LookPath(program); err != nil && os.Getenv("CI") != "true" {
			t.Skipf("SKIPPED WITHOUT POSTGRESQL: %s is not in the PATH; install it (apt-get install postgresql, brew install postgresql) and put its bin folder into the PATH", program)
		}
	}
}

// Main runs the tests of a program and stops the shared server behind them. The
// caller exits with what it gives.
func Main(m *testing.M) int {
	code := m.Run()
	shared.Lock()
	defer shared.Unlock()
	if shared.server != nil {
		if err := shared.server.Close(); err != nil {
			fmt.Fprintln(os.Stderr, "PostgreSQL:", err)
		}
	}
	return code
}
