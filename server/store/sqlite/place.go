package sqlite

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"syscall"

	"proofload/server/store"
)

// besides are the ends of the names of the files that stand beside a store's.
var besides = []string{"-wal", "-shm", "-journal", ".lock", pagesEnd}

// realPath returns the path of a file without symbolic links, so that a store is
// locked, and finds its other files, by whichever name it is opened.
func realPath(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	switch real, err := filepath.EvalSymlinks(abs); {
	case err == nil:
		return real, nil
	case !errors.Is(err, fs.ErrNotExist) && !errors.Is(err, syscall.ENOTDIR):
		return "", withoutPath(err)
	}
	if _, err := os.Lstat(abs); err == nil {
		return "", errors.New("it is a link to a file that is not there; make the link right, or name the file itself")
	}
	folder, err := filepath.EvalSymlinks(filepath.Dir(abs))
	if info, statErr := os.Stat(folder); err != nil || statErr != nil || !info.IsDir() {
		return "", fmt.Errorf("the folder %s is not there; make it first", filepath.Dir(path))
	}
	return filepath.Join(folder, filepath.Base(abs)), nil
}

// makeFile makes the file of a store where there is none.
func makeFile(path string) error {
	f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return withoutPath(err)
	}
	private(path + ".lock")
	return f.Close()
}

// narrow takes from the files of a store what others than their owner may do: they
// hold tokens and the key.
func narrow(path string) error {
	if runtime.GOOS == "windows" {
		return nil // rights are those of the folder there
	}
	for _, end := range append([]string{""}, besides...) {
		info, err := os.Stat(path + end)
		if err != nil || info.Mode().Perm()&0o077 == 0 {
			continue
		}
		if err := os.Chmod(path+end, info.Mode().Perm()&^0o077); err != nil {
			return fmt.Errorf("%w: others may open %s (mode %04o), which holds tokens and the signing key, and that cannot be changed (%w); make it 0600", store.ErrInvalid, filepath.Base(path)+end, info.Mode().Perm(), withoutPath(err))
		}
	}
	return nil
}

// private makes a file that only its owner may open, where there is none. The engine
// would make it with the rights that the system gives by itself.
func private(path string) {
	if f, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600); err == nil {
		f.Close()
	}
}

// Present returns an error where the file of the store is not the one that was opened
// any more: removed, replaced, emptied or cut off. What is written then is lost with
// it, so the store takes no more writes.
func (s *Store) Present() error {
	err := s.missing()
	if err == nil {
		err = s.pages.found()
	}
	if err != nil {
		s.poison(err)
	}
	return err
}

func (s *Store) missing() error {
	for _, f := range []struct {
		path string
		was  os.FileInfo
		size int64
	}{{s.real, s.file, s.pages.count()}, {s.real + "-wal", s.log, s.write.logSize()}} {
		now, err := os.Stat(f.path)
		what := ""
		switch {
		case errors.Is(err, fs.ErrNotExist):
			what = "was removed"
		case err != nil:
			return fmt.Errorf("store %s: %w", s.path, err)
		case f.was != nil && !os.SameFile(now, f.was):
			what = "was replaced by another"
		case now.Size() < f.size:
			what = fmt.Sprintf("was cut off, from %d bytes at least to %d", f.size, now.Size())
		default:
			continue
		}
		return fmt.Errorf("store %s: %w: its file %s %s while it is open; stop, put the right file back or restore a backup, and start again", s.path, store.ErrCorrupt, filepath.Base(f.path), what)
	}
	return nil
}

// logSize is how many bytes the write-ahead log has at least. Only the writer moves it.
func (w *writer) logSize() int64 {
	frames := w.frames.Load()
	if frames == 0 {
		return 0
	}
	const logHeader, frameHeader = 32, 24
	w.s.pages.mu.RLock()
	defer w.s.pages.mu.RUnlock()
	return logHeader + frames*int64(frameHeader+w.s.pages.size)
}

// Move returns the files of a store that nobody has open another name. Nothing is there
// under that name.
func Move(from, to string) error {
	if err := unused(to); err != nil {
		return err
	}
	for _, end := range append([]string{""}, besides...) {
		if err := os.Rename(from+end, to+end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("store %s: %w", from, withoutPath(err))
		}
	}
	return syncFolder(to)
}

// Remove removes the files of a store that nobody has open.
func Remove(path string) error {
	var errs []error
	for _, end := range append([]string{""}, besides...) {
		if err := os.Remove(path + end); err != nil && !errors.Is(err, fs.ErrNotExist) {
			errs = append(errs, withoutPath(err))
		}
	}
	return errors.Join(errs...)
}

// InUse reports whether an error of Open says that another process has the store.
func InUse(err error) bool { return errors.Is(err, errInUse) }
