package sqlite

import (
	"errors"
	"os"
	"syscall"
)

// lockInode locks the file itself, under whatever name it is opened: a hard link or a
// mount of it leads to the same lock. The engine's own locks are of another kind.
func lockInode(path string) (*os.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, withoutPath(err)
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		err = errInUse
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}
