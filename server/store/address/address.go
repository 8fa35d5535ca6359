// Package address tells the stores that a command line can name apart, and opens them.
package address

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"path/filepath"
	"strings"

	"proofload/server/store"
	"proofload/server/store/postgres"
	"proofload/server/store/sqlite"
)

// Address names a store. Use Parse.
type Address struct {
	// file is that of an embedded store, database the address of one in PostgreSQL,
	// which may hold a password; one of them is set.
	file, database string
}

// Allowed says in words what Parse takes.
const Allowed = "sqlite:FILE, like sqlite:.data/proofload.db, or postgres://USER@HOST/DATABASE"

// Parse reads sqlite:FILE or a PostgreSQL address. The error says what is allowed and
// shows no password.
func Parse(s string) (Address, error) {
	if file, ok := strings.CutPrefix(s, "sqlite:"); ok && file != "" {
		return Address{file: file}, nil
	}
	if strings.HasPrefix(s, "postgres://") || strings.HasPrefix(s, "postgresql://") {
		return Address{database: s}, nil
	}
	return Address{}, fmt.Errorf("%q is not a store; allowed: %s", Hide(s), Allowed)
}

// Hide returns text that may be an address as it may be shown.
func Hide(s string) string {
	if strings.Contains(s, "@") || strings.Contains(s, "password") {
		return postgres.Address(s) + "…"
	}
	return s
}

// File returns the file of an embedded store.
func (a Address) File() (file string, ok bool) { return a.file, a.file != "" }

// String returns the address as it may be shown: without user and password.
func (a Address) String() string {
	if a.file != "" {
		return "sqlite:" + a.file
	}
	return postgres.Address(a.database)
}

// Mark is the file that keeps the highest position of the store that was served, unless
// another is named: beside an embedded store, in .data for a database.
func (a Address) Mark() string {
	if a.file != "" {
		return a.file + ".mark"
	}
	sum := sha256.Sum256([]byte(a.database))
	return filepath.Join(".data", "postgres-"+hex.EncodeToString(sum[:6])+".mark")
}

// Open opens the store, and makes it where there is none. The errors are those of
// the engine's Open.
func (a Address) Open(ctx context.Context) (store.Store, error) { return a.open(ctx, false) }

// OpenExisting opens the store. A file that is not there, or is empty, is an error.
func (a Address) OpenExisting(ctx context.Context) (store.Store, error) { return a.open(ctx, true) }

func (a Address) open(ctx context.Context, existing bool) (store.Store, error) {
	if a.file != "" {
		return opened(sqlite.Open(ctx, a.file, sqlite.Options{Existing: existing}))
	}
	return opened(postgres.Open(ctx, a.database, postgres.Options{}))
}

// opened keeps a nil pointer from becoming a store.
func opened[S store.Store](s S, err error) (store.Store, error) {
	if err != nil {
		return nil, err
	}
	return s, nil
}
