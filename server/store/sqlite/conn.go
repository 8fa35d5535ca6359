package sqlite

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/ext/fts5"
)

// minimumEngine is the first SQLite without the WAL-reset race, which could damage
// a file that is written and checkpointed from two connections.
var minimumEngine = [3]int{3, 51, 3}

// busyTimeout is how long the engine waits for a lock.
const busyTimeout = 5 * time.Second

// conn is a connection with its prepared statements. It is used by one goroutine
// at a time.
type conn struct {
	*sqlite3.Conn
	queries map[string]*query
}

// dial opens a connection with the settings that all share. cache is in bytes.
func dial(ctx context.Context, uri string, cache int64) (_ *conn, err error) {
	raw, err := sqlite3.OpenContext(ctx, uri)
	if err != nil {
		return nil, err
	}
	c := &conn{Conn: raw, queries: map[string]*query{}}
	defer func() {
		if err != nil {
			c.close()
		}
	}()
	if err := c.checkEngine(); err != nil {
		return nil, err
	}
	if err := fts5.Register(raw); err != nil {
		return nil, err
	}
	// The last connection to close would otherwise checkpoint by itself and hide
	// whether that went well. Close does it in the open.
	if _, err := c.Config(sqlite3.DBCONFIG_NO_CKPT_ON_CLOSE, true); err != nil {
		return nil, err
	}
	return c, c.Exec(fmt.Sprintf(`
		PRAGMA busy_timeout = %d;
		PRAGMA foreign_keys = ON;
		PRAGMA trusted_schema = OFF;
		PRAGMA cell_size_check = ON;
		PRAGMA mmap_size = 0;
		PRAGMA cache_size = -%d;`, busyTimeout.Milliseconds(), max(cache>>10, 64)))
}

// openReader opens a connection that cannot change anything.
func openReader(ctx context.Context, uri string, cache int64) (*conn, error) {
	c, err := dial(ctx, uri, cache)
	if err != nil {
		return nil, err
	}
	if err := c.Exec(`PRAGMA query_only = ON`); err != nil {
		c.close()
		return nil, err
	}
	return c, nil
}

func (c *conn) checkEngine() error {
	var version string
	if err := c.q(`SELECT sqlite_version()`).each(func(r *sqlite3.Stmt) error {
		version = r.ColumnText(0)
		return nil
	}); err != nil {
		return err
	}
	return checkEngine(version)
}

func checkEngine(version string) error {
	var have [3]int
	for i, part := range strings.SplitN(version, ".", 3) {
		have[i], _ = strconv.Atoi(part)
	}
	for i, want := range minimumEngine {
		if have[i] != want {
			if have[i] > want {
				break
			}
			return fmt.Errorf("SQLite %s has a fault that can damage a store; %d.%d.%d or newer is needed, build with a newer engine", version, minimumEngine[0], minimumEngine[1], minimumEngine[2])
		}
	}
	return nil
}

func (c *conn) close() error {
	if c == nil || c.Conn == nil {
		return nil
	}
	for _, q := range c.queries {
		q.stmt.Close()
	}
	c.queries = nil
	return c.Conn.Close()
}

// query is a prepared statement being given its parameters. The first error is
// kept until it runs. Parameters are written $1, $2 … in the order they first
// stand in the text, which SQLite and PostgreSQL number alike.
type query struct {
	stmt *sqlite3.Stmt
	next int
	err  error
}

// q returns the statement of a text, prepared on first use.
func (c *conn) q(sql string) *query {
	if q := c.queries[sql]; q != nil {
		q.next = 0
		return q
	}
	stmt, _, err := c.PrepareFlags(sql, sqlite3.PREPARE_PERSISTENT)
	if err != nil {
		return &query{err: fmt.Errorf("%w in %q", err, sql)}
	}
	q := &query{stmt: stmt}
	c.queries[sql] = q
	return q
}

func (q *query) bind(err error) *query {
	if q.err == nil {
		q.err = err
	}
	return q
}

func (q *query) text(v string) *query {
	if q.err != nil {
		return q
	}
	q.next++
	return q.bind(q.stmt.BindText(q.next, v))
}

// orNull binds an empty text as NULL.
func (q *query) orNull(v string) *query {
	if v != "" {
		return q.text(v)
	}
	return q.null()
}

func (q *query) null() *query {
	if q.err != nil {
		return q
	}
	q.next++
	return q.bind(q.stmt.BindNull(q.next))
}

func (q *query) blob(v []byte) *query {
	if q.err != nil {
		return q
	}
	q.next++
	return q.bind(q.stmt.BindBlob(q.next, v))
}

func (q *query) int(v int64) *query {
	if q.err != nil {
		return q
	}
	q.next++
	return q.bind(q.stmt.BindInt64(q.next, v))
}

func (q *query) bool(v bool) *query {
	if v {
		return q.int(1)
	}
	return q.int(0)
}

// run executes a statement that gives nothing.
func (q *query) run() error {
	if err := q.take(); err != nil {
		return err
	}
	return q.stmt.Exec()
}

// errEnough ends each early, as a success.
var errEnough = errors.New("enough rows")

// each calls row for every row until one fails.
func (q *query) each(row func(*sqlite3.Stmt) error) error {
	if err := q.take(); err != nil {
		return err
	}
	var err error
	for err == nil && q.stmt.Step() {
		err = row(q.stmt)
	}
	if err == nil {
		err = q.stmt.Err()
	}
	if reset := q.stmt.Reset(); err == nil {
		err = reset
	}
	if err == errEnough {
		return nil
	}
	return err
}

// take returns the error met while binding and forgets it, as the statement lives on.
func (q *query) take() error {
	err := q.err
	if q.stmt != nil {
		q.err = nil
	}
	return err
}
