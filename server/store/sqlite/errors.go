package sqlite

import (
	"context"
	"errors"
	"fmt"
	"syscall"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/store"
)

var errInUse = errors.New("another process has it open; stop that one, or use its address instead of the file")

// explain turns an error of the engine into one of the contract that names the
// file. Errors that are of the contract already, or the context's, stay as they are.
func (s *Store) explain(err error) error {
	if s.pages != nil && isDamage(err) {
		if found := s.pages.found(); found != nil {
			return found
		}
	}
	return explain(s.path, err)
}

func explain(path string, err error) error {
	switch {
	case err == nil:
		return nil
	case isContract(err):
		return err
	case errors.Is(err, sqlite3.FULL) || errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT):
		return fmt.Errorf("store %s: %w: nothing was written, reads go on; free space and try again (%w)", path, store.ErrFull, err)
	case errors.Is(err, sqlite3.NOTADB):
		return fmt.Errorf("store %s: the file is not a proofload store, or its beginning is damaged; give another file, or restore this one from a backup (%w)", path, err)
	case isDamage(err):
		return fmt.Errorf("store %s: %w: restore it from a backup (%w)", path, store.ErrCorrupt, err)
	case errors.Is(err, sqlite3.BUSY) || errors.Is(err, sqlite3.LOCKED):
		return fmt.Errorf("store %s: %w (%w)", path, errInUse, err)
	case errors.Is(err, sqlite3.READONLY):
		return fmt.Errorf("store %s: %w: the file or its folder may not be written; mend the permissions (%w)", path, store.ErrReadOnly, err)
	case errors.Is(err, sqlite3.CONSTRAINT):
		return fmt.Errorf("store %s: %w: what is derived from the log disagrees with it; rebuild it (%w)", path, store.ErrCorrupt, err)
	}
	return fmt.Errorf("store %s: %w", path, err)
}

func isDamage(err error) bool {
	return errors.Is(err, sqlite3.CORRUPT) || errors.Is(err, sqlite3.NOTADB) ||
		errors.Is(err, sqlite3.IOERR_DATA) || errors.Is(err, sqlite3.IOERR_CORRUPTFS)
}

func isContract(err error) bool {
	for _, target := range []error{
		store.ErrNotFound, store.ErrConflict, store.ErrFuture, store.ErrInvalid, store.ErrFull, store.ErrCorrupt,
		store.ErrReadOnly, store.ErrUnknown, store.ErrNewer, store.ErrClosed, context.Canceled, context.DeadlineExceeded,
	} {
		if errors.Is(err, target) {
			return true
		}
	}
	return false
}

// isEngine reports whether an error came from SQLite or the system below it.
func isEngine(err error) bool {
	var code sqlite3.ErrorCode
	return errors.As(err, &code)
}
