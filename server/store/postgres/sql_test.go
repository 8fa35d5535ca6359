package postgres

import (
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"

	"proofload/server/store"
	"proofload/server/store/postgres/pgtest"
	"proofload/server/store/storetest"
	"proofload/specdata"
)

// allowed are the words of the SQL of this package besides the names it defines itself:
// what PostgreSQL has in common with the engines that speak its protocol. A word that
// is not here is looked up in their manuals before it is added.
var allowed = strings.Fields(`
	select from where join left cross lateral on and or not any true as order by desc limit for update insert into values delete using set
	conflict do nothing excluded create schema table index if exists primary key unique check null collate c
	bigint bytea text boolean
	unnest coalesce count length
	begin commit rollback isolation level serializable repeatable read only
	show synchronous_commit fsync full_page_writes local to listen notify`)

// denied are words that may not even be names.
var denied = strings.Fields(`
	serial bigserial sequence nextval currval setval lastval generated identity trigger function procedure copy ctid xmin xmax temp temporary unlogged
	advisory pg_advisory_lock pg_try_advisory_lock pg_advisory_xact_lock txid_current pg_current_xact_id pg_current_snapshot
	deferrable exclude rule inherits lock truncate prepare now current_timestamp random gen_random_uuid tablesample tsvector like ilike similar jsonb json`)

var sqlWords = regexp.MustCompile(`[A-Za-z_][A-Za-z_0-9]*`)

// holdToList fails unless a statement keeps to the list. names are those that the
// tables and statements give.
func holdToList(sql string, names []string) (wrong []string) {
	quoted := regexp.MustCompile(`'[^']*'`).ReplaceAllString(sql, "")
	calls := map[string]bool{}
	for _, m := range regexp.MustCompile(`([A-Za-z_][A-Za-z_0-9]*)\(`).FindAllStringSubmatch(quoted, -1) {
		calls[strings.ToLower(m[1])] = true // a function; tables and lists have a blank before them
	}
	for _, w := range sqlWords.FindAllString(quoted, -1) {
		w = strings.ToLower(w)
		known := slices.Contains(allowed, w) || slices.Contains(names, w) && !calls[w]
		if slices.Contains(denied, w) || !known {
			wrong = append(wrong, w)
		}
	}
	return wrong
}

// namesOf returns the names that the migrations and statements give to tables, columns
// and aliases.
func namesOf(sqls []string) (names []string) {
	for _, sql := range sqls {
		for _, form := range []string{`(?i)\b(?:TABLE|INDEX|UPDATE|SCHEMA) (?:IF NOT EXISTS )?([a-z_]+)`, `(?i)\bAS ([a-z_0-9]+)`, `(?m)^\s+([a-z_]+)\s+(?:BIGINT|BYTEA|TEXT|BOOLEAN)`, `\(([a-z_]+) BIGINT`, `, ([a-z_]+) BIGINT`, `(?:LISTEN|NOTIFY) ([a-z_]+)`} {
			for _, m := range regexp.MustCompile(form).FindAllStringSubmatch(sql, -1) {
				names = append(names, m[1])
			}
		}
		// The columns of what is made from lists: AS u (space, key).
		for _, m := range regexp.MustCompile(`(?i)\bAS [a-z]+ \(([a-z_, ]+)\)`).FindAllStringSubmatch(sql, -1) {
			names = append(names, sqlWords.FindAllString(m[1], -1)...)
		}
	}
	return names
}

// literals returns the string literals of the package's own files that are SQL.
func literals(t *testing.T) (sqls []string) {
	entries, err := os.ReadDir(".")
	if err != nil {
		t.Fatal(err)
	}
	begins := regexp.MustCompile(`^\s*(SELECT|INSERT|UPDATE|DELETE|CREATE|ALTER|DROP|LISTEN|NOTIFY|SHOW|SET|WITH|LOCK|DO|COPY|TRUNCATE|CALL|BEGIN)\b| (JOIN|FROM|WHERE|ORDER BY) `)
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".go") || strings.HasSuffix(e.Name(), "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), e.Name(), nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if l, ok := n.(*ast.BasicLit); ok && l.Kind == token.STRING {
				if s, err := strconv.Unquote(l.Value); err == nil && begins.MatchString(s) {
					sqls = append(sqls, s)
				}
			}
			return true
		})
	}
	return sqls
}

// tracer notes the statements that a store sends.
type tracer struct {
	mu   sync.Mutex
	seen map[string]bool
}

func (t *tracer) note(sql string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.seen[sql] = true
}

func (t *tracer) TraceQueryStart(ctx context.Context, _ *pgx.Conn, d pgx.TraceQueryStartData) context.Context {
	t.note(d.SQL)
	return ctx
}

func (t *tracer) TraceQueryEnd(context.Context, *pgx.Conn, pgx.TraceQueryEndData) {}

func (t *tracer) TraceBatchStart(ctx context.Context, _ *pgx.Conn, d pgx.TraceBatchStartData) context.Context {
	for _, q := range d.Batch.QueuedQueries {
		t.note(q.SQL)
	}
	return ctx
}

func (t *tracer) TraceBatchQuery(context.Context, *pgx.Conn, pgx.TraceBatchQueryData) {}
func (t *tracer) TraceBatchEnd(context.Context, *pgx.Conn, pgx.TraceBatchEndData)     {}

// Every statement that is in the package, and every one that a store sends, keeps
// to what the engines have in common.
func TestSQL(t *testing.T) {
	t.Parallel()
	sqls := literals(t)
	tr := &tracer{seen: map[string]bool{}}
	set := usual(Options{})
	set.configure = func(c *pgxpool.Config) { c.ConnConfig.Tracer = tr }
	s := openSettings(t, pgtest.Shared(t).Address(), set)
	scenario(t, s)
	verifyScenario(t, s)
	for _, read := range []func() error{
		func() error {
			_, err := s.List(t.Context(), store.Query{Kind: specdata.KindFastener, Vehicle: "a", Place: "b", Before: "c", Limit: 3}, 1)
			return err
		},
		func() error { _, err := s.Search(t.Context(), "carrier bolt", specdata.KindFastener, 3); return err },
		func() error { _, err := s.Uses(t.Context(), "fasteners/a", 1); return err },
		func() error { _, err := s.Resolve(t.Context(), store.AtTime(storetest.Epoch.Add(1e12))); return err },
		func() error {
			_, err := s.ListNotes(t.Context(), store.NoteQuery{Space: "a", Term: "b", After: "c", Descending: true, Limit: 3})
			return err
		},
		func() error { _, err := s.NoteSpaces(t.Context()); return err },
		func() error { _, err := s.Hashes(t.Context(), []int64{0}); return err },
	} {
		if err := read(); err != nil {
			t.Fatal(err)
		}
	}
	for sql := range tr.seen {
		sqls = append(sqls, sql)
	}
	names := append(namesOf(sqls), s.reads.Config().ConnConfig.RuntimeParams["search_path"])
	if len(sqls) < 100 {
		t.Errorf("only %d statements were found", len(sqls))
	}
	for _, sql := range sqls {
		if wrong := holdToList(sql, names); len(wrong) > 0 {
			t.Errorf("%q is not common to the engines, in\n%s", wrong, sql)
		}
		// Text that is put in order is of a column of the order of bytes.
		if strings.Contains(sql, "TEXT") && strings.Contains(sql, "CREATE TABLE") && strings.Contains(strings.ReplaceAll(sql, `TEXT COLLATE "C"`, ""), "TEXT") {
			t.Errorf("a column of text has the order of the database's language in\n%s", sql)
		}
	}
}

// The list refuses what it is for.
func TestSQLList(t *testing.T) {
	names := []string{"a", "b", "lock_held"}
	for _, sql := range []string{
		`SELECT nextval('a')`, `SELECT pg_advisory_lock(1)`, `CREATE TABLE a (b BIGSERIAL)`, `LOCK TABLE a`, `SELECT a FROM b WHERE ctid = $1`, `DO $$ BEGIN END $$`,
		`CREATE TEMP TABLE a (b BIGINT)`, `SELECT a(b) FROM b`, `COPY a FROM STDIN`, `SELECT pg_notify('a', 'b')`, `SELECT b::INT FROM a`, `TRUNCATE a`,
	} {
		if len(holdToList(sql, names)) == 0 {
			t.Errorf("%s passes", sql)
		}
	}
	for _, sql := range []string{`SELECT a FROM b WHERE a = $1 ORDER BY b DESC LIMIT 3`, `UPDATE a SET b = 'nextval'`} {
		if wrong := holdToList(sql, names); len(wrong) > 0 {
			t.Errorf("%s does not pass for %q", sql, wrong)
		}
	}
}

// The role that every test of this package uses may use neither sequences nor advisory
// locks; that this takes hold is seen here.
func TestRevoked(t *testing.T) {
	t.Parallel()
	s := openTest(t, pgtest.Shared(t).Address())
	for _, sql := range []string{`SELECT pg_advisory_lock(1)`, `SELECT pg_try_advisory_xact_lock(1)`, `CREATE TABLE a (b BIGSERIAL); INSERT INTO a DEFAULT VALUES`} {
		if _, err := s.reads.Exec(t.Context(), sql); err == nil || !strings.Contains(err.Error(), "permission denied") {
			t.Errorf("%s gives %v", sql, err)
		}
	}
}
