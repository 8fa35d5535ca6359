//go:build !linux

package sqlite

import "os"

// lockInode locks nothing here: the engine's own locks are of the same kind. The lock
// file beside the store has to do, which a hard link in another folder gets around.
func lockInode(path string) (*os.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, withoutPath(err)
	}
	return f, nil
}
