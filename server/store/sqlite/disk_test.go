package sqlite

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/ncruces/go-sqlite3/util/vfsutil"
	"github.com/ncruces/go-sqlite3/vfs"
)

// disk is a file system between the engine and the real one. It can fail any call,
// and it keeps a record from which power failures are made up afterwards.
type disk struct {
	vfs.VFSFilename
	name string

	mu sync.Mutex
	// fail decides on the n-th call (from 1) whether it fails; nil lets all through.
	fail func(n int, call *call) error
	n    int
	// record says that calls which change something are kept.
	record bool
	calls  []call
}

// call is one call that the engine makes, or a note of the test between them.
type call struct {
	what string // open read write sync sync-folder truncate delete size note
	file string // base name
	at   int64  // offset, or the new size of a truncation
	data []byte
	// failed says that a sync was made to fail.
	failed bool
	// note is the number of an acknowledged publication, negative of a write of notes.
	note int
}

var disks atomic.Int64

func newDisk(t testing.TB) *disk {
	d := &disk{VFSFilename: vfs.Find("os").(vfs.VFSFilename), name: fmt.Sprintf("test-disk-%d", disks.Add(1))}
	vfs.Register(d.name, d)
	t.Cleanup(func() { vfs.Unregister(d.name) })
	return d
}

// settings are those of Open with the disk below.
func (d *disk) settings() settings {
	set := usual(Options{})
	set.vfs = d.name
	set.index = d.openIndex
	return set
}

// pass lets a call through or fails it.
func (d *disk) pass(c call) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.n++
	var err error
	if d.fail != nil {
		err = d.fail(d.n, &c)
	}
	if d.record && c.what != "read" && c.what != "size" && (err == nil || strings.HasPrefix(c.what, "sync")) {
		c.failed = err != nil
		d.calls = append(d.calls, c)
	}
	return err
}

func (d *disk) noteAcknowledged(n int) {
	d.mu.Lock()
	d.calls = append(d.calls, call{what: "note", note: n})
	d.mu.Unlock()
}

// failing sets what fails from now on, counting from 1 again, and returns how many
// calls there were before.
func (d *disk) failing(fail func(n int, c *call) error) int {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := d.n
	d.n, d.fail = 0, fail
	return n
}

func (d *disk) OpenFilename(name *vfs.Filename, flags vfs.OpenFlag) (vfs.File, vfs.OpenFlag, error) {
	const ours = vfs.OPEN_MAIN_DB | vfs.OPEN_WAL | vfs.OPEN_MAIN_JOURNAL
	if flags&ours == 0 {
		return d.VFSFilename.OpenFilename(name, flags) // temporary files
	}
	base := filepath.Base(name.String())
	if err := d.pass(call{what: "open", file: base}); err != nil {
		return nil, flags, err
	}
	f, flags, err := d.VFSFilename.OpenFilename(name, flags)
	if err != nil {
		return nil, flags, err
	}
	// The file systems that the engine comes with sync the folder with the first sync
	// of a log or journal.
	return &diskFile{File: f, d: d, name: base, syncFolder: flags&vfs.OPEN_MAIN_DB == 0}, flags, nil
}

func (d *disk) Delete(name string, syncDir bool) error {
	if err := d.pass(call{what: "delete", file: filepath.Base(name)}); err != nil {
		return err
	}
	return d.VFSFilename.Delete(name, syncDir)
}

type diskFile struct {
	vfs.File
	d    *disk
	name string
	// syncFolder says that the next sync is one of the folder as well.
	syncFolder bool
}

func (f *diskFile) ReadAt(p []byte, off int64) (int, error) {
	if err := f.d.pass(call{what: "read", file: f.name, at: off}); err != nil {
		return 0, err
	}
	return f.File.ReadAt(p, off)
}

func (f *diskFile) WriteAt(p []byte, off int64) (int, error) {
	c := call{what: "write", file: f.name, at: off, data: p}
	if f.d.record {
		c.data = append([]byte(nil), p...)
	}
	if err := f.d.pass(c); err != nil {
		return 0, err
	}
	return f.File.WriteAt(p, off)
}

func (f *diskFile) Truncate(size int64) error {
	if err := f.d.pass(call{what: "truncate", file: f.name, at: size}); err != nil {
		return err
	}
	return f.File.Truncate(size)
}

// Sync is only noted: what a real one would do is decided when the power fails.
func (f *diskFile) Sync(vfs.SyncFlag) error {
	err := f.d.pass(call{what: "sync", file: f.name})
	if err == nil && f.syncFolder {
		f.syncFolder = false
		err = f.d.pass(call{what: "sync-folder"})
	}
	return err
}

func (f *diskFile) Size() (int64, error) {
	if err := f.d.pass(call{what: "size", file: f.name}); err != nil {
		return 0, err
	}
	return f.File.Size()
}

// indexOnDisk is the index of a store's pages, on a disk.
type indexOnDisk struct {
	*os.File
	d    *disk
	name string
	// fresh says that the next sync is one of the folder as well.
	fresh bool
}

func (d *disk) openIndex(path string, create bool) (indexFile, error) {
	_, err := os.Stat(path)
	fresh := err != nil
	if fresh && !create {
		return nil, nil
	}
	f := &indexOnDisk{d: d, name: filepath.Base(path), fresh: fresh}
	if err := d.pass(call{what: "open", file: f.name}); err != nil {
		return nil, err
	}
	f.File, err = os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600)
	return f, err
}

func (f *indexOnDisk) WriteAt(p []byte, off int64) (int, error) {
	if err := f.d.pass(call{what: "write", file: f.name, at: off, data: append([]byte(nil), p...)}); err != nil {
		return 0, err
	}
	return f.File.WriteAt(p, off)
}

func (f *indexOnDisk) Truncate(size int64) error {
	if err := f.d.pass(call{what: "truncate", file: f.name, at: size}); err != nil {
		return err
	}
	return f.File.Truncate(size)
}

func (f *indexOnDisk) Sync() error {
	err := f.d.pass(call{what: "sync", file: f.name})
	if err == nil && f.fresh {
		f.fresh = false
		err = f.d.pass(call{what: "sync-folder"})
	}
	return err
}

func (f *diskFile) SharedMemory() vfs.SharedMemory { return vfsutil.WrapSharedMemory(f.File) }
func (f *diskFile) LockState() vfs.LockLevel       { return vfsutil.WrapLockState(f.File) }
func (f *diskFile) PersistWAL() bool               { return vfsutil.WrapPersistWAL(f.File) }
func (f *diskFile) SetPersistWAL(keep bool)        { vfsutil.WrapSetPersistWAL(f.File, keep) }
func (f *diskFile) PowersafeOverwrite() bool       { return vfsutil.WrapPowersafeOverwrite(f.File) }
func (f *diskFile) SetPowersafeOverwrite(on bool)  { vfsutil.WrapSetPowersafeOverwrite(f.File, on) }
func (f *diskFile) HasMoved() (bool, error)        { return vfsutil.WrapHasMoved(f.File) }
func (f *diskFile) Unwrap() vfs.File               { return f.File }
