package sqlite

import (
	"errors"
	"fmt"
	"sync/atomic"
	"syscall"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
)

// The engine's own file system takes a full disk for a broken one, because it does not
// look inside the error of a write. This one distinguishes the two, keeps the index of
// the pages of a store's file, and is the engine's in everything else.

type fileSystem struct {
	vfs.VFSFilename
	// pages is the index of the main file, nil where none is kept.
	pages *pages
}

var fileSystems atomic.Int64

// mount registers a file system over another, "" for the operating system's, and
// returns its name. The caller unmounts it when its last connection is closed.
func mount(base string, p *pages) (name string, unmount func()) {
	if base == "" {
		base = "os"
	}
	name = fmt.Sprintf("proofload-%d", fileSystems.Add(1))
	vfs.Register(name, fileSystem{vfs.Find(base).(vfs.VFSFilename), p})
	return name, func() { vfs.Unregister(name) }
}

func (s fileSystem) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	if flags&vfs.OPEN_CREATE != 0 && name.String() != "" {
		private(name.String())
		if flags&vfs.OPEN_WAL != 0 {
			private(name.Database() + "-shm")
		}
	}
	f, out, err := s.VFSFilename.OpenFilename(name, flags)
	if err != nil {
		return nil, out, err
	}
	file := &systemFile{File: f}
	if flags&vfs.OPEN_MAIN_DB != 0 {
		file.pages = s.pages
	}
	return file, out, nil
}

type systemFile struct {
	vfs.File
	pages *pages
}

func (f *systemFile) ReadAt(p []byte, off int64) (int, error) {
	if f.pages != nil {
		return f.pages.read(f.File, p, off)
	}
	return f.File.ReadAt(p, off)
}

func (f *systemFile) WriteAt(p []byte, off int64) (n int, err error) {
	if f.pages != nil {
		n, err = f.pages.write(f.File, p, off)
	} else {
		n, err = f.File.WriteAt(p, off)
	}
	return n, full(err)
}

// full distinguishes a full disk from a broken one.
func full(err error) error {
	if errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT) {
		return vfs.SystemError(err, sqlite3.FULL)
	}
	return err
}

func (f *systemFile) Truncate(size int64) error {
	if f.pages == nil {
		return f.File.Truncate(size)
	}
	if size == 0 {
		// In this order: an empty file with an index of pages was emptied by somebody.
		if err := errors.Join(f.pages.truncate(0), f.pages.sync()); err != nil {
			return err
		}
	}
	if err := f.File.Truncate(size); err != nil {
		return err
	}
	return f.pages.truncate(size)
}

func (f *systemFile) Sync(flags vfs.SyncFlag) error {
	err := f.File.Sync(flags)
	if err == nil && f.pages != nil {
		err = f.pages.sync()
	}
	return err
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
