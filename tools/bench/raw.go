package main

import (
	"errors"
	"net/url"
	"path/filepath"
	"strconv"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
	"proofload/server/store/sqlite"
)

// rawStore is what a store is measured against: name and document in one table of
// the same engine with the same settings, through prepared statements.
type rawStore struct {
	*sqlite3.Conn
	begin, commit, insert, get *sqlite3.Stmt
}

// openRaw opens a file, which it makes where there is none. cache is in bytes.
func openRaw(file string, cache int64) (_ *rawStore, err error) {
	abs, err := filepath.Abs(file)
	if err != nil {
		return nil, err
	}
	uri := url.URL{Scheme: "file", Path: filepath.ToSlash(abs)}
	r := &rawStore{}
	if r.Conn, err = sqlite3.Open(uri.String()); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			r.close()
		}
	}()
	if err = r.EnableChecksums("main"); err != nil {
		return nil, err
	}
	if err = r.Exec(`PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL; PRAGMA cache_size = -` + strconv.FormatInt(cache>>10, 10) + `;
		CREATE TABLE IF NOT EXISTS raw (name TEXT PRIMARY KEY, document BLOB NOT NULL) STRICT`); err != nil {
		return nil, err
	}
	for text, stmt := range map[string]**sqlite3.Stmt{
		`BEGIN IMMEDIATE`: &r.begin,
		`COMMIT`:          &r.commit,
		`INSERT INTO raw (name, document) VALUES (?, ?)`: &r.insert,
		`SELECT document FROM raw WHERE name = ?`:        &r.get,
	} {
		if *stmt, _, err = r.PrepareFlags(text, sqlite3.PREPARE_PERSISTENT); err != nil {
			return nil, err
		}
	}
	return r, nil
}

// put inserts documents in one transaction.
func (r *rawStore) put(changes []store.Change) error {
	if err := r.begin.Exec(); err != nil {
		return err
	}
	for _, c := range changes {
		if err := errors.Join(r.insert.BindText(1, string(c.Name)), r.insert.BindBlob(2, c.Document)); err != nil {
			return err
		}
		if err := r.insert.Exec(); err != nil {
			return err
		}
	}
	return r.commit.Exec()
}

// document reads one, empty where there is none.
func (r *rawStore) document(name []byte) ([]byte, error) {
	if err := r.get.BindRawText(1, name); err != nil {
		return nil, err
	}
	var b []byte
	if r.get.Step() {
		b = r.get.ColumnBlob(0, nil)
	}
	return b, errors.Join(r.get.Err(), r.get.Reset())
}

func (r *rawStore) close() error {
	var errs []error
	for _, s := range []*sqlite3.Stmt{r.begin, r.commit, r.insert, r.get} {
		if s != nil {
			errs = append(errs, s.Close())
		}
	}
	return errors.Join(append(errs, r.Conn.Close())...)
}

// rawPool lends several connections to one file, as many and with as much cache as
// the store has.
type rawPool chan *rawStore

const rawReaders = 8

func openRawPool(file string) (rawPool, error) {
	p := make(rawPool, rawReaders)
	for range rawReaders {
		r, err := openRaw(file, sqlite.MaxCache/2/rawReaders)
		if err != nil {
			return nil, errors.Join(err, p.close())
		}
		p <- r
	}
	return p, nil
}

// document reads one by a connection that is free.
func (p rawPool) document(name []byte) ([]byte, error) {
	r := <-p
	b, err := r.document(name)
	p <- r
	return b, err
}

func (p rawPool) close() error {
	var errs []error
	for len(p) > 0 {
		errs = append(errs, (<-p).close())
	}
	return errors.Join(errs...)
}
