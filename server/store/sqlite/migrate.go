package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"

	"proofload/server/store"
)

// applicationID marks the file as a proofload store ("prfl").
const applicationID = 0x7072666c

// migrations bring a store from one version to the next; version n is after the
// first n. Each runs in one transaction together with the note that it ran, so that
// an interrupted one starts again. None is ever changed once it was released.
//
// Types and words are those that PostgreSQL has as well, where it has them.
var migrations = []migration{{sql: logTables}, {sql: treeAndNotes, fill: fillTree}}

// migration is one of them: statements, and what they leave to fill in.
type migration struct {
	sql  string
	fill func(context.Context, *conn) error
}

const (
	// logTables are the log and what is derived from it.
	logTables = `
	-- The log. Rows are never changed. A publication is the rows of one position; what
	-- is said of it as a whole stands in the first of them, its origin, which saves the
	-- page that a table of its own would write with every commit.
	CREATE TABLE revision (
		leaf      INTEGER PRIMARY KEY CHECK (leaf > 0), -- counts all revisions
		position  INTEGER NOT NULL CHECK (position > 0),
		origin    INTEGER NOT NULL REFERENCES revision (leaf),
		name      TEXT NOT NULL,
		number    INTEGER NOT NULL CHECK (number > 0),
		withdrawn INTEGER NOT NULL CHECK (withdrawn IN (0, 1)),
		hash      BLOB NOT NULL CHECK (length(hash) = 32),
		time      INTEGER,  -- nanoseconds since 1970, UTC
		authors   TEXT,     -- a JSON list
		reviewer  TEXT,
		reason    TEXT,
		key       TEXT,
		document  BLOB NOT NULL,
		CHECK ((leaf = origin) = (time IS NOT NULL))
	) STRICT;
	CREATE UNIQUE INDEX revision_key ON revision (key) WHERE key IS NOT NULL;

	CREATE TABLE release (
		name     TEXT PRIMARY KEY,
		position INTEGER NOT NULL,
		note     TEXT NOT NULL,
		made_by  TEXT NOT NULL,
		time     INTEGER NOT NULL
	) STRICT, WITHOUT ROWID;

	-- Derived, with every publication: the positions at which a revision is in force,
	-- from since until before until.
	CREATE TABLE span (
		name      TEXT NOT NULL,
		number    INTEGER NOT NULL,
		since     INTEGER NOT NULL,
		until     INTEGER NOT NULL,
		leaf      INTEGER NOT NULL,
		withdrawn INTEGER NOT NULL,
		words     INTEGER NOT NULL, -- how many it is searched by
		PRIMARY KEY (name, number)
	) STRICT, WITHOUT ROWID;

	-- Derived, up to the leaf that derived.indexed names: what revisions are listed by.
	CREATE TABLE term (
		term   TEXT NOT NULL,
		name   TEXT NOT NULL,
		number INTEGER NOT NULL,
		PRIMARY KEY (term, name, number)
	) STRICT, WITHOUT ROWID;

	-- Derived, likewise: the words of the records in force. The row's number is the
	-- count of words, times 2^40, plus the leaf: so the engine gives the best first
	-- without ranking anything. Words are told apart before they come here; the engine
	-- only splits them at spaces.
	CREATE VIRTUAL TABLE search USING fts5 (
		words, content='', contentless_delete=1, detail=none, tokenize="ascii tokenchars './-='"
	);

	CREATE TABLE derived (
		id      INTEGER PRIMARY KEY CHECK (id = 1),
		edition INTEGER NOT NULL, -- of package index
		indexed INTEGER NOT NULL
	) STRICT;
	INSERT INTO derived (id, edition, indexed) VALUES (1, 0, 0);
	`

	// treeAndNotes are the hashes of the ledger's tree and the notes beside the log.
	treeAndNotes = `
	-- The hashes of the subtrees that this leaf completes, the leaf's own first, 32
	-- bytes each. They stand in its row, which saves a page with every commit, and are
	-- never changed, so that they tell when something else of the row was.
	ALTER TABLE revision ADD COLUMN tree BLOB;

	CREATE TABLE note (
		space   TEXT NOT NULL,
		key     TEXT NOT NULL,
		version INTEGER NOT NULL CHECK (version > 0),
		terms   TEXT NOT NULL, -- a JSON list, sorted
		body    BLOB NOT NULL,
		time    INTEGER NOT NULL, -- nanoseconds since 1970, UTC
		PRIMARY KEY (space, key)
	) STRICT, WITHOUT ROWID;

	-- Derived, with every write: what notes are listed by.
	CREATE TABLE note_term (
		space TEXT NOT NULL,
		term  TEXT NOT NULL,
		key   TEXT NOT NULL,
		PRIMARY KEY (space, term, key)
	) STRICT, WITHOUT ROWID;
	`
)

// prepare makes a new file a store, or brings an older store up to date.
func prepare(ctx context.Context, c *conn) error {
	id, err := c.pragma("application_id")
	if err != nil {
		return err
	}
	version, err := c.pragma("user_version")
	if err != nil {
		return err
	}
	switch {
	case id != 0 && id != applicationID, id == 0 && version != 0:
		return errForeign
	case version > int64(len(migrations)):
		return newer(version)
	case id == 0:
		if err := create(c); err != nil {
			return err
		}
	}
	if err := requireChecksums(c); err != nil {
		return err
	}
	if err := recoverLog(c); err != nil {
		return err
	}
	for v := version; v < int64(len(migrations)); v++ {
		if err := ctx.Err(); err != nil {
			return err
		}
		if err := migrate(ctx, c, v); err != nil {
			return fmt.Errorf("migration to version %d: %w", v+1, err)
		}
	}
	return nil
}

var errForeign = fmt.Errorf("%w: the file is not a proofload store; give another file", store.ErrInvalid)

func newer(version int64) error {
	return fmt.Errorf("%w: the file has version %d, this program knows versions up to %d; use the newer program", store.ErrNewer, version, len(migrations))
}

// create turns an empty file into one with page checksums and a write-ahead log. It
// may have been interrupted before and starts again where it has to.
func create(c *conn) error {
	tables := int64(0)
	if err := c.q(`SELECT count(*) FROM sqlite_schema`).each(scanInt(&tables)); err != nil {
		return err
	}
	if tables != 0 {
		return errForeign
	}
	return c.EnableChecksums("main")
}

// requireChecksums refuses a file whose pages carry none: anyone who made it was not us.
func requireChecksums(c *conn) error {
	on, err := c.pragma("checksum_verification")
	if err != nil {
		return err
	}
	if on != 1 {
		return fmt.Errorf("%w: its pages carry no checksums, another program has rewritten it", store.ErrCorrupt)
	}
	return nil
}

// recoverLog switches to the write-ahead log and moves whatever it holds into the
// file.
func recoverLog(c *conn) error {
	mode := ""
	if err := c.q(`PRAGMA journal_mode = WAL`).each(func(r *sqlite3.Stmt) error {
		mode = r.ColumnText(0)
		return nil
	}); err != nil {
		return err
	}
	if mode != "wal" {
		return fmt.Errorf("the file system cannot keep a write-ahead log (journal mode %q); put the store on a local disk", mode)
	}
	if err := rewriteLog(c); err != nil {
		return err
	}
	err := c.truncateLog()
	if errors.Is(err, sqlite3.BUSY) {
		// A backup is reading. What the log holds is safe where it is until later.
		_, _, err = c.WALCheckpoint("main", sqlite3.CHECKPOINT_PASSIVE)
	}
	return err
}

// truncateLog moves the log into the file and empties it. It does not wait long for
// a reader, which can only be a backup.
func (c *conn) truncateLog() error {
	if err := c.BusyTimeout(100 * time.Millisecond); err != nil {
		return err
	}
	_, _, err := c.WALCheckpoint("main", sqlite3.CHECKPOINT_TRUNCATE)
	return errors.Join(err, c.BusyTimeout(busyTimeout))
}

// rewriteLog writes the log over with itself and syncs it. After a sync that failed,
// the system may hold what it could not write as if it were written: it reads back,
// and no later sync saves it until it is written again.
func rewriteLog(c *conn) error {
	handle, err := c.FileControl("main", sqlite3.FCNTL_JOURNAL_POINTER)
	if err != nil {
		return err
	}
	log, ok := handle.(vfs.File)
	if !ok {
		return nil // there is none yet
	}
	size, err := log.Size()
	if err != nil || size == 0 {
		return err
	}
	block := make([]byte, 1<<16)
	for at := int64(0); at < size; at += int64(len(block)) {
		block = block[:min(int64(len(block)), size-at)]
		if _, err := log.ReadAt(block, at); err != nil && err != io.EOF {
			return err
		}
		if _, err := log.WriteAt(block, at); err != nil {
			return err
		}
	}
	return log.Sync(vfs.SYNC_NORMAL)
}

func migrate(ctx context.Context, c *conn, version int64) (err error) {
	tx, err := c.BeginImmediate()
	if err != nil {
		return err
	}
	defer tx.End(&err)
	if err := c.Exec(migrations[version].sql); err != nil {
		return err
	}
	if fill := migrations[version].fill; fill != nil {
		if err := fill(ctx, c); err != nil {
			return err
		}
	}
	return c.Exec(fmt.Sprintf(`PRAGMA user_version = %d; PRAGMA application_id = %d`, version+1, applicationID))
}

// pragma reads a setting that is a number.
func (c *conn) pragma(name string) (int64, error) {
	var v int64
	stmt, _, err := c.Prepare(`PRAGMA ` + name)
	if err != nil {
		return 0, err
	}
	defer stmt.Close()
	if stmt.Step() {
		v = stmt.ColumnInt64(0)
	}
	return v, stmt.Err()
}

func scanInt(v *int64) func(*sqlite3.Stmt) error {
	return func(r *sqlite3.Stmt) error {
		*v = r.ColumnInt64(0)
		return nil
	}
}
