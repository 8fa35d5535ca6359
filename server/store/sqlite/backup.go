package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"slices"

	"github.com/ncruces/go-sqlite3"

	"proofload/server/ledger"
	"proofload/server/store"
)

// Copied is what a backup holds.
type Copied struct {
	store.Head
	// Root is the root of its ledger's tree.
	Root [32]byte
}

// Backup copies the store in a file, as it is at one moment, to another file, whole
// and checked or not at all. Anyone who has the store open goes on reading and writing
// meanwhile; that is the one thing a second process may do with a store.
//
// It never writes over a file. The copy is checked as Check does, against damage and
// for the root of the ledger's tree, before it gets its name, and is on stable storage
// then. A store that an older version wrote is ErrInvalid: the program of that version
// copies it. A damaged one is ErrCorrupt.
func Backup(ctx context.Context, from, to string) (Copied, error) {
	return backup(ctx, from, to, "")
}

func backup(ctx context.Context, from, to, vfs string) (_ Copied, err error) {
	if _, err := os.Stat(from); err != nil {
		return Copied{}, fmt.Errorf("store %s: %w", from, withoutPath(err))
	}
	if err := unused(to); err != nil {
		return Copied{}, err
	}
	file, err := os.CreateTemp(filepath.Dir(to), "."+filepath.Base(to)+".*.partial")
	if err != nil {
		return Copied{}, fmt.Errorf("backup %s: it cannot be made: %w", to, withoutPath(err))
	}
	defer func() {
		// What is left of a copy without its name is no use to anybody.
		err = errors.Join(err, file.Close())
		for _, end := range append([]string{""}, besides...) {
			if rest := os.Remove(file.Name() + end); rest != nil && !errors.Is(rest, fs.ErrNotExist) {
				err = errors.Join(err, fmt.Errorf("backup %s: %w", to, rest))
			}
		}
	}()
	done, err := copyFile(ctx, from, file.Name(), vfs)
	if err != nil {
		return Copied{}, fmt.Errorf("backup %s: %w", to, err)
	}
	if err := toDisk(file); err != nil {
		return Copied{}, fmt.Errorf("backup %s: it could not be brought to stable storage: %w", to, withoutPath(err))
	}
	return done, place(file.Name(), to)
}

// copyFile copies a store into an empty file and checks the copy.
func copyFile(ctx context.Context, from, to, vfs string) (Copied, error) {
	real, err := realPath(from)
	if err != nil {
		return Copied{}, explain(from, err)
	}
	index, err := loadPages(real, openIndex, true)
	if err != nil {
		return Copied{}, explain(from, err)
	}
	defer index.close()
	mounted, unmount := mount(vfs, index)
	defer unmount()
	plain, unmountPlain := mount(vfs, nil)
	defer unmountPlain()
	c, err := dial(ctx, fileURI(real, "rw", mounted), MaxCache/4)
	if err != nil {
		return Copied{}, explain(from, err)
	}
	defer c.close()
	if err := current(c); err != nil {
		return Copied{}, fmt.Errorf("store %s: %w", from, err)
	}
	// One statement, so one moment.
	if err := c.q(`VACUUM INTO $1`).text(fileURI(to, "", plain)).run(); err != nil {
		switch {
		case ctx.Err() != nil:
			return Copied{}, ctx.Err()
		case index.found() != nil:
			return Copied{}, index.found()
		case errors.Is(err, sqlite3.FULL):
			return Copied{}, fmt.Errorf("%w: free space, or name another place (%w)", store.ErrFull, err)
		}
		return Copied{}, explain(from, err)
	}
	set := usual(Options{Cache: MaxCache / 4})
	set.vfs = vfs
	s, err := open(ctx, to, set)
	if err != nil {
		return Copied{}, fmt.Errorf("the copy: %w", err)
	}
	done := Copied{Head: *s.head.Load()}
	there, err := ledger.ReadEdge(done.Revisions, c)
	if err == nil && !slices.Equal(s.write.edge.Hashes, there.Hashes) {
		err = fmt.Errorf("%w: its ledger is not that of the store", store.ErrCorrupt)
	}
	if err == nil {
		done.Root, err = there.Root()
	}
	if err == nil {
		err = s.Check(ctx)
	}
	if err := errors.Join(err, s.Close()); err != nil {
		return Copied{}, fmt.Errorf("the copy: %w", err)
	}
	return done, nil
}

// current refuses a file that is not a store of this version.
func current(c *conn) error {
	id, err := c.pragma("application_id")
	if err != nil {
		return err
	}
	version, err := c.pragma("user_version")
	switch {
	case err != nil:
		return err
	case id != applicationID:
		return errForeign
	case version > int64(len(migrations)):
		return newer(version)
	case version < int64(len(migrations)):
		return fmt.Errorf("%w: the file has version %d, this program's is %d; copy it with the program that wrote it, or open it with this one first, which brings it up to date", store.ErrInvalid, version, len(migrations))
	}
	return nil
}

func unused(to string) error {
	switch _, err := os.Lstat(to); {
	case err == nil:
		return fmt.Errorf("backup %s: %w: the file is there already and is not written over; name another", to, store.ErrConflict)
	case !errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("backup %s: %w", to, withoutPath(err))
	}
	return nil
}

// place returns a finished file its name, where that is still unused.
func place(from, to string) error {
	err := os.Link(from, to)
	if errors.Is(err, fs.ErrExist) {
		return unused(to)
	}
	if err != nil { // the file system knows no links
		if err := unused(to); err != nil {
			return err
		}
		err = os.Rename(from, to)
	}
	if err != nil {
		return fmt.Errorf("backup %s: it is made and cannot be put in place: %w", to, withoutPath(err))
	}
	if err := syncFolder(to); err != nil {
		return fmt.Errorf("backup %s: its name could not be brought to stable storage: %w", to, err)
	}
	return nil
}

// toDisk brings a file or a folder to stable storage. Tests look at what it is asked for.
var toDisk = (*os.File).Sync

// syncFolder brings the name of a file to stable storage.
func syncFolder(path string) error {
	folder, err := os.Open(filepath.Dir(path))
	if err != nil {
		return withoutPath(err)
	}
	err = toDisk(folder)
	return errors.Join(withoutPath(err), folder.Close())
}

// fileURI names a file to the engine; vfs "" is the operating system's file system.
func fileURI(path, mode, vfs string) string {
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	uri := url.URL{Scheme: "file", Path: filepath.ToSlash(path)}
	q := url.Values{}
	if mode != "" {
		q.Set("mode", mode)
	}
	if vfs != "" {
		q.Set("vfs", vfs)
	}
	uri.RawQuery = q.Encode()
	return uri.String()
}

// withoutPath leaves out of an error of the system what the one around it says.
func withoutPath(err error) error {
	var p *fs.PathError
	var l *os.LinkError
	switch {
	case errors.As(err, &p):
		return p.Err
	case errors.As(err, &l):
		return l.Err
	}
	return err
}
