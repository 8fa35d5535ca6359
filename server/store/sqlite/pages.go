package sqlite

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"github.com/ncruces/go-sqlite3"
	"github.com/ncruces/go-sqlite3/vfs"

	"proofload/server/store"
)

// A page that carries a good checksum may still be the wrong one: what a disk put
// somewhere else, or never wrote, leaves an older page or another's in its place. So
// a second file, FILE.pages, says of every page of the first which checksum was
// written there last, and a page that has another is not read. It is written whenever
// the first is synced, and only then does the write-ahead log forget the pages: after
// a crash every page that the two may disagree on is still in the log, from which it
// is read, and written to both again.

// pagesEnd is what the name of the index adds to the store's.
const pagesEnd = ".pages"

const (
	pagesMagic  = "prflpgs1"
	pagesHeader = 16 // the magic, the page size in 4 bytes, 4 bytes of zeros
)

// indexFile is what the index needs of a file.
type indexFile interface {
	io.ReaderAt
	io.WriterAt
	Sync() error
	Truncate(size int64) error
	Close() error
}

// openIndex opens the index of a store, nil where there is none.
func openIndex(path string, create bool) (indexFile, error) {
	flags := os.O_RDWR
	if create {
		flags |= os.O_CREATE
	}
	f, err := os.OpenFile(path, flags, 0o600)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return &systemIndex{File: f, fresh: create}, nil
}

// systemIndex is an index in a file. Its first sync brings its name to the disk, too.
type systemIndex struct {
	*os.File
	fresh bool
}

// Sync implements indexFile.
func (f *systemIndex) Sync() error {
	err := f.File.Sync()
	if err != nil || !f.fresh {
		return err
	}
	f.fresh = false
	return syncFolder(f.Name())
}

// pages is the index of the pages of one file.
type pages struct {
	path string
	open func(path string, create bool) (indexFile, error)
	// follows says that another process may write the file and its index.
	follows bool

	mu sync.RWMutex
	// size is that of a page, 0 while the file is empty; sums are by number from 0, 0
	// where it is not known.
	size int
	sums []uint64
	file indexFile
	// unsynced says that the index was written since it was synced.
	unsynced bool
	// complete says that every page of the file is known.
	complete bool
	// damage is what was found wrong last.
	damage error
}

// loadPages reads the index of a store's file, which may not be there.
func loadPages(path string, open func(string, bool) (indexFile, error), follows bool) (*pages, error) {
	p := &pages{path: path, open: open, follows: follows}
	info, err := os.Stat(path)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	if p.file, err = open(path+pagesEnd, false); err != nil {
		return nil, err
	}
	if p.file == nil {
		p.complete = info == nil || info.Size() == 0
		return p, nil
	}
	content, err := io.ReadAll(io.NewSectionReader(p.file, 0, 1<<40))
	if err != nil {
		return nil, errors.Join(err, p.file.Close())
	}
	if len(content) < pagesHeader || !bytes.ContainsFunc(content[:pagesHeader], func(r rune) bool { return r != 0 }) {
		// It was begun and never synced.
		p.complete = info == nil || info.Size() == 0
		return p, nil
	}
	p.size = int(binary.LittleEndian.Uint32(content[8:]))
	if string(content[:8]) != pagesMagic || !isPageSize(p.size) {
		return nil, errors.Join(p.wrong(0, "its index %s is damaged", filepath.Base(path)+pagesEnd), p.file.Close())
	}
	for at := pagesHeader; at+8 <= len(content); at += 8 {
		p.sums = append(p.sums, binary.LittleEndian.Uint64(content[at:]))
	}
	p.complete = true
	if len(p.sums) > 0 && (info == nil || info.Size() == 0) {
		return nil, errors.Join(fmt.Errorf("store %s: %w: the file is empty and its index %s names %d pages: it was emptied or replaced; restore it from a backup", path, store.ErrCorrupt, filepath.Base(path)+pagesEnd, len(p.sums)), p.file.Close())
	}
	return p, nil
}

func isPageSize(n int) bool { return n >= 512 && n <= 65536 && n&(n-1) == 0 }

func trailer(page []byte) uint64 { return binary.LittleEndian.Uint64(page[len(page)-8:]) }

func (p *pages) wrong(page int, format string, args ...any) error {
	return fmt.Errorf("store %s: %w: page %d: %s; restore it from a backup, or remove %s to have the whole file checked and the index made again",
		p.path, store.ErrCorrupt, page, fmt.Sprintf(format, args...), filepath.Base(p.path)+pagesEnd)
}

// read reads from the file and refuses a page that is not the one written last.
func (p *pages) read(f vfs.File, b []byte, off int64) (int, error) {
	n, err := f.ReadAt(b, off)
	p.mu.RLock()
	ok := p.fits(b[:n], len(b), off)
	p.mu.RUnlock()
	if ok {
		return n, err
	}
	// A page may be written at this very moment, by another process even.
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.follows {
		p.reread(int(off / int64(p.size)))
	}
	if n, err = f.ReadAt(b, off); p.fits(b[:n], len(b), off) {
		return n, err
	}
	p.damage = p.wrong(int(off/int64(p.size))+1, "it is not the one that was written there last")
	return 0, vfs.SystemError(p.damage, sqlite3.IOERR_DATA)
}

// fits reports whether a page that was read is the one written last, as far as known.
func (p *pages) fits(b []byte, want int, off int64) bool {
	if p.size == 0 || want != p.size || off%int64(p.size) != 0 {
		return true // no page
	}
	i := int(off / int64(p.size))
	if i >= len(p.sums) || p.sums[i] == 0 {
		return true
	}
	return len(b) == p.size && trailer(b) == p.sums[i]
}

// reread reads what another process may have written to the index since.
func (p *pages) reread(i int) {
	var b [8]byte
	if p.file == nil || i >= len(p.sums) {
		return
	}
	if _, err := p.file.ReadAt(b[:], pagesHeader+8*int64(i)); err == nil {
		p.sums[i] = binary.LittleEndian.Uint64(b[:])
	}
}

// write writes to the file and notes the page.
func (p *pages) write(f vfs.File, b []byte, off int64) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	n, err := f.WriteAt(b, off)
	if p.follows || !isPageSize(len(b)) || off%int64(len(b)) != 0 {
		return n, err
	}
	if off == 0 && p.size != len(b) {
		if err := p.resize(len(b)); err != nil {
			return n, err
		}
	}
	i := int(off / int64(len(b)))
	switch {
	case p.size != len(b), err != nil && i >= len(p.sums):
		return n, err
	case err != nil:
		p.sums[i] = 0 // nobody knows what is there
	default:
		for len(p.sums) < i {
			if err := p.put(len(p.sums), 0); err != nil {
				return 0, err
			}
		}
	}
	sum := trailer(b)
	if err != nil {
		sum = 0
	}
	if err := p.put(i, sum); err != nil {
		return 0, err
	}
	return n, err
}

// resize begins the index again, for pages of another size.
func (p *pages) resize(size int) (err error) {
	if p.file == nil {
		if p.file, err = p.open(p.path+pagesEnd, true); err != nil {
			return full(err)
		}
	}
	var header [pagesHeader]byte
	copy(header[:], pagesMagic)
	binary.LittleEndian.PutUint32(header[8:], uint32(size))
	p.size, p.sums, p.unsynced = size, nil, true
	if err := p.file.Truncate(0); err != nil {
		return full(err)
	}
	_, err = p.file.WriteAt(header[:], 0)
	return full(err)
}

// put notes what was written to a page.
func (p *pages) put(i int, sum uint64) error {
	if i == len(p.sums) {
		p.sums = append(p.sums, 0)
	}
	p.sums[i], p.unsynced = sum, true
	var b [8]byte
	binary.LittleEndian.PutUint64(b[:], sum)
	_, err := p.file.WriteAt(b[:], pagesHeader+8*int64(i))
	return full(err)
}

// truncate forgets the pages beyond a size.
func (p *pages) truncate(size int64) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.size == 0 || p.follows {
		return nil
	}
	n := int(size / int64(p.size))
	if n >= len(p.sums) {
		return nil
	}
	p.sums, p.unsynced = p.sums[:n:n], true
	return full(p.file.Truncate(pagesHeader + 8*int64(n)))
}

// sync brings the index to the disk, after the file itself.
func (p *pages) sync() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.follows || !p.unsynced {
		return nil
	}
	if err := p.file.Sync(); err != nil {
		return vfs.SystemError(err, sqlite3.IOERR_FSYNC)
	}
	p.unsynced = false
	return nil
}

// adopt learns the pages of a file that had no index, as they are.
func (p *pages) adopt() error {
	f, err := os.Open(p.path)
	if err != nil {
		return err
	}
	defer f.Close()
	var header [100]byte
	if _, err := f.ReadAt(header[:], 0); err != nil {
		return err
	}
	size := int(binary.BigEndian.Uint16(header[16:]))
	if size == 1 {
		size = 65536
	}
	if !isPageSize(size) {
		return p.wrong(1, "its page size is %d", size)
	}
	p.mu.Lock()
	if err = nil; p.size != size || p.file == nil {
		err = p.resize(size)
	}
	p.mu.Unlock()
	page := make([]byte, size)
	for i := 0; err == nil; i++ {
		p.mu.Lock()
		if _, err = f.ReadAt(page, int64(i)*int64(size)); err == nil {
			err = p.put(min(i, len(p.sums)), trailer(page))
		}
		p.mu.Unlock()
	}
	if !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return err
	}
	p.complete = true
	return p.sync()
}

// count is how many bytes the file has at least, as far as is known.
func (p *pages) count() int64 {
	p.mu.RLock()
	defer p.mu.RUnlock()
	return int64(len(p.sums)) * int64(p.size)
}

// found returns what was found wrong last, nil if nothing was.
func (p *pages) found() error {
	p.mu.RLock()
	defer p.mu.RUnlock()
	return p.damage
}

func (p *pages) close() error {
	if p.file == nil {
		return nil
	}
	return p.file.Close()
}
