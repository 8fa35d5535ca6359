package postgres

import (
	"context"
	"errors"
	"fmt"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"

	"proofload/server/store"
)

// migrations bring a store from one version to the next; version n is after the
// first n. Each is one statement that does no harm when it runs twice, because an
// engine may keep the table of a step that was interrupted and forget that it ran.
// None is ever changed once it was released.
//
// Keys, terms and words stand as bytes: a document may hold what the type TEXT
// refuses, and bytes have one order everywhere. Times are nanoseconds since 1970, UTC.
var migrations = []string{
	// The one row that gives out positions and leaves. edge is the right edge of the
	// ledger's tree, edition that of package index which derived the tables below.
	`CREATE TABLE IF NOT EXISTS log_head (
		id       BIGINT NOT NULL PRIMARY KEY CHECK (id = 1),
		position BIGINT NOT NULL CHECK (position >= 0),
		leaves   BIGINT NOT NULL CHECK (leaves >= position),
		time     BIGINT NOT NULL,
		edge     BYTEA NOT NULL,
		edition  BIGINT NOT NULL
	)`,
	`INSERT INTO log_head (id, position, leaves, time, edge, edition) VALUES (1, 0, 0, 0, '', 0) ON CONFLICT (id) DO NOTHING`,
	// The log. Rows are never changed. authors is a JSON list.
	`CREATE TABLE IF NOT EXISTS publication (
		position   BIGINT NOT NULL PRIMARY KEY CHECK (position > 0),
		first_leaf BIGINT NOT NULL CHECK (first_leaf >= 0),
		leaves     BIGINT NOT NULL CHECK (leaves > 0),
		time       BIGINT NOT NULL,
		authors    TEXT COLLATE "C" NOT NULL,
		reviewer   TEXT COLLATE "C" NOT NULL,
		reason     TEXT COLLATE "C" NOT NULL,
		key        BYTEA UNIQUE
	)`,
	`CREATE INDEX IF NOT EXISTS publication_time ON publication (time, position)`,
	// tree is the hashes of the subtrees that the leaf completes, smallest first.
	`CREATE TABLE IF NOT EXISTS revision (
		leaf      BIGINT NOT NULL PRIMARY KEY CHECK (leaf >= 0),
		position  BIGINT NOT NULL,
		name      TEXT COLLATE "C" NOT NULL,
		number    BIGINT NOT NULL CHECK (number > 0),
		withdrawn BOOLEAN NOT NULL,
		hash      BYTEA NOT NULL CHECK (length(hash) = 32),
		document  BYTEA NOT NULL,
		tree      BYTEA NOT NULL,
		UNIQUE (name, number)
	)`,
	`CREATE TABLE IF NOT EXISTS release (
		name     TEXT COLLATE "C" NOT NULL PRIMARY KEY,
		position BIGINT NOT NULL,
		note     TEXT COLLATE "C" NOT NULL,
		made_by  TEXT COLLATE "C" NOT NULL,
		time     BIGINT NOT NULL
	)`,
	// Derived from the log: the positions at which a revision is in force, from since
	// until before until.
	`CREATE TABLE IF NOT EXISTS span (
		name      TEXT COLLATE "C" NOT NULL,
		number    BIGINT NOT NULL,
		since     BIGINT NOT NULL,
		until     BIGINT NOT NULL,
		leaf      BIGINT NOT NULL,
		withdrawn BOOLEAN NOT NULL,
		PRIMARY KEY (name, number)
	)`,
	// Derived: what revisions are listed by.
	`CREATE TABLE IF NOT EXISTS term (
		term   BYTEA NOT NULL,
		name   TEXT COLLATE "C" NOT NULL,
		number BIGINT NOT NULL,
		PRIMARY KEY (term, name, number)
	)`,
	// Derived: what revisions are searched by, but for withdrawals. words is how many
	// the revision has, so that the key's order is that of the answer.
	`CREATE TABLE IF NOT EXISTS word (
		word   BYTEA NOT NULL,
		words  BIGINT NOT NULL,
		leaf   BIGINT NOT NULL,
		name   TEXT COLLATE "C" NOT NULL,
		number BIGINT NOT NULL,
		PRIMARY KEY (word, words, leaf)
	)`,
	// Notes stand beside the log; note_term is derived from terms.
	`CREATE TABLE IF NOT EXISTS note (
		space   TEXT COLLATE "C" NOT NULL,
		key     BYTEA NOT NULL,
		version BIGINT NOT NULL CHECK (version > 0),
		terms   BYTEA[] NOT NULL,
		body    BYTEA NOT NULL,
		time    BIGINT NOT NULL,
		PRIMARY KEY (space, key)
	)`,
	`CREATE TABLE IF NOT EXISTS note_term (
		space TEXT COLLATE "C" NOT NULL,
		term  BYTEA NOT NULL,
		key   BYTEA NOT NULL,
		PRIMARY KEY (space, term, key)
	)`,
	// One row for each store that writes, by which it can tell afterwards whether a
	// transaction committed.
	`CREATE TABLE IF NOT EXISTS writer (
		node    TEXT COLLATE "C" NOT NULL PRIMARY KEY,
		attempt BIGINT NOT NULL,
		time    BIGINT NOT NULL
	)`,
}

// migrate runs the steps that are missing. Servers that do it at the same time take
// turns at the one row of the table migration.
func (s *Store) migrate(ctx context.Context, schema string) error {
	version, err := s.version(ctx)
	if isMissing(err) {
		if err := s.found(ctx, schema); err != nil {
			return err
		}
		version, err = s.version(ctx)
	}
	if err != nil {
		return err
	}
	for known := int64(len(s.set.steps)); version != known; {
		if version > known {
			return s.newer(version)
		}
		if version, err = s.step(ctx, version); err != nil {
			return fmt.Errorf("migration to version %d: %w", version+1, err)
		}
	}
	return nil
}

func (s *Store) newer(version int64) error {
	return fmt.Errorf("store %s: %w: it has version %d, this program knows versions up to %d; use the newer program", s.name, store.ErrNewer, version, len(s.set.steps))
}

func (s *Store) version(ctx context.Context) (version int64, err error) {
	err = s.read(ctx, func(ctx context.Context, q querier) error {
		return q.QueryRow(ctx, `SELECT version FROM migration WHERE id = 1`).Scan(&version)
	})
	return version, err
}

// isMissing reports whether an error says that there is no table migration, or nothing in it.
func isMissing(err error) bool {
	var pg *pgconn.PgError
	return errors.Is(err, pgx.ErrNoRows) || errors.As(err, &pg) && (pg.Code == "42P01" || pg.Code == "3F000")
}

// found makes the schema and the table that counts the steps.
func (s *Store) found(ctx context.Context, schema string) error {
	for _, sql := range []string{
		`CREATE SCHEMA IF NOT EXISTS ` + schema,
		`CREATE TABLE IF NOT EXISTS migration (id BIGINT NOT NULL PRIMARY KEY CHECK (id = 1), version BIGINT NOT NULL)`,
		`INSERT INTO migration (id, version) VALUES (1, 0) ON CONFLICT (id) DO NOTHING`,
	} {
		err := s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
			_, err := tx.Exec(ctx, sql)
			return err
		})
		var pg *pgconn.PgError
		if errors.As(err, &pg) && pg.Code == "42501" && sql[:13] == `CREATE SCHEMA` {
			continue // somebody else may have made it; the table will tell
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// step runs the step behind a version, unless another server has done it meanwhile. It
// gives the version that the store has then.
func (s *Store) step(ctx context.Context, version int64) (now int64, err error) {
	err = s.change(ctx, func(ctx context.Context, tx pgx.Tx) error {
		if err := tx.QueryRow(ctx, `SELECT version FROM migration WHERE id = 1 FOR UPDATE`).Scan(&now); err != nil || now != version {
			return err
		}
		if _, err := tx.Exec(ctx, s.set.steps[version]); err != nil {
			return err
		}
		now = version + 1
		_, err := tx.Exec(ctx, `UPDATE migration SET version = $1 WHERE id = 1`, now)
		return err
	})
	if err != nil {
		return version, err
	}
	return now, nil
}
