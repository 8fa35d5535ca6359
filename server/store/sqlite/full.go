package sqlite

import (
	"errors"
	"sync"
	"syscall"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
)

// The engine's own file system takes a full disk for a broken one, because it does not
// look inside the error of a write. This one tells the two apart, and is the engine's
// in everything else.

const fullVFS = "proofload-os"

var registerFull = sync.OnceFunc(func() {
	vfs.Register(fullVFS, fileSystem{vfs.Find("os").(vfs.VFSFilename)})
})

type fileSystem struct{ vfs.VFSFilename }

func (s fileSystem) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	f, flags, err := s.VFSFilename.OpenFilename(name, flags)
	if err != nil {
		return nil, flags, err
	}
	return &systemFile{f}, flags, nil
}

type systemFile struct{ vfs.File }

func (f *systemFile) WriteAt(p []byte, off int64) (int, error) {
	n, err := f.File.WriteAt(p, off)
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		err = vfs.SystemError(err, sqlite3.FULL)
	}
	return n, err
}

func (f *systemFile) SharedMemory() vfs.SharedMemory { return vfsutil.WrapSharedMemory(f.File) }
func (f *systemFile) LockState() vfs.LockLevel       { return vfsutil.WrapLockState(f.File) }
func (f *systemFile) PersistWAL() bool               { return vfsutil.WrapPersistWAL(f.File) }
func (f *systemFile) SetPersistWAL(keep bool)        { vfsutil.WrapSetPersistWAL(f.File, keep) }
func (f *systemFile) PowersafeOverwrite() bool       { return vfsutil.WrapPowersafeOverwrite(f.File) }
func (f *systemFile) SetPowersafeOverwrite(on bool)  { vfsutil.WrapSetPowersafeOverwrite(f.File, on) }
func (f *systemFile) HasMoved() (bool, error)        { return vfsutil.WrapHasMoved(f.File) }
func (f *systemFile) SizeHint(size int64) error      { return vfsutil.WrapSizeHint(f.File, size) }
func (f *systemFile) ChunkSize(size int)             { vfsutil.WrapChunkSize(f.File, size) }
func (f *systemFile) Overwrite() error               { return vfsutil.WrapOverwrite(f.File) }
func (f *systemFile) SyncSuper(super string) error   { return vfsutil.WrapSyncSuper(f.File, super) }
func (f *systemFile) CommitPhaseTwo() error          { return vfsutil.WrapCommitPhaseTwo(f.File) }
func (f *systemFile) Unwrap() vfs.File               { return f.File }
