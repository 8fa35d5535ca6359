package sqlite

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/ncruces/go-sqlite3"
)

// lockFile makes the process the only one that has the store. The lock is that of
// an empty SQLite file beside it, held for as long as the connection lives: the
// engine's own locks work the same on every system and end with the process.
func lockFile(ctx context.Context, path string) (_ *conn, err error) {
	raw, err := sqlite3.OpenContext(ctx, fileURI(path+".lock", "", ""))
	if err != nil {
		return nil, err
	}
	c := &conn{Conn: raw}
	if err := c.Exec(`PRAGMA journal_mode = MEMORY; BEGIN EXCLUSIVE`); err != nil {
		c.close()
		if errors.Is(err, sqlite3.BUSY) {
			return nil, errInUse
		}
		return nil, fmt.Errorf("lock file %s.lock: %w", filepath.Base(path), err)
	}
	return c, nil
}
